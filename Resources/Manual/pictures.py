"""Makes the pictures of the manual anew: the real window is led through the demo and photographed.

usage: pictures.py WINDOW RECORDING [FOLDER]    RECORDING: the demo; FOLDER: where to (this one)
"""

import pathlib
import sys
import time

here = pathlib.Path(__file__).resolve().parent
sys.path.insert(0, str(here.parents[1] / "Tests" / "EndToEnd"))
from desk_session import DeskSession, need  # noqa: E402

COLOURS = 64  # enough for flat areas and text
LARGEST = 120_000  # bytes
MARGIN = 30  # of a sheet, pixels


class Camera:
    def __init__(self, desk, folder):
        self.desk, self.folder = desk, folder

    def take(self, name, part=None):
        """The window, or what a part of it takes."""
        self.photograph(name, self.desk.part(part)["place"] if part else [0, 0, *self.desk.told()["size"][2:]])

    def photograph(self, name, place):
        x, y, width, height = (round(v) for v in place)
        left, top = self.desk._on_screen(x, y)
        file = self.folder / f"{name}.png"
        whole = self.desk.folder / "whole.png"
        self.desk.run("import", "-window", "root", str(whole))
        self.desk.run("convert", str(whole), "-crop", f"{width}x{height}+{left}+{top}", "+repage", "-strip",
                      "+dither", "-colors", str(COLOURS), "-define", "png:exclude-chunks=date,time", f"PNG8:{file}")
        size = file.stat().st_size
        print(f"{file.name}: {size} bytes", flush=True)
        assert 2000 < size < LARGEST, f"{file.name} has {size} bytes"

    def sheet(self, key, name, *typed, whole=False):
        """A sheet that a key opens, once some words are typed into it."""
        self.desk.key(key)
        told = self.desk.wait_told(lambda told: told["sheet"], 10, f"the sheet of {name}")
        for words in typed:
            self.desk.type(words)
        time.sleep(0.5)  # what is typed is followed
        self.desk.wait_settled()
        if whole:
            self.take(name)
        else:
            # It stands in the middle; its parts, those after it, reach to its margins.
            _, _, width, height = told["size"]
            titles = [part["title"] if part["place"][2] >= width - 1 else "" for part in told["parts"]]
            places = [part["place"] for part in told["parts"][titles.index(told["sheet"]) + 1 :]]
            across = max(max(width / 2 - p[0], p[0] + p[2] - width / 2) for p in places) + MARGIN
            down = max(max(height / 2 - p[1], p[1] + p[3] - height / 2) for p in places) + MARGIN
            across, down = min(across, width / 2), min(down, height / 2)
            self.photograph(name, [width / 2 - across, height / 2 - down, 2 * across, 2 * down])
        self.desk.key("Escape")
        self.desk.wait_told(lambda told: not told["sheet"], 10, f"the sheet of {name} to close")


def main(window, recording, folder=here):
    need("convert")
    with DeskSession(window, [recording]) as desk:
        camera = Camera(desk, pathlib.Path(folder))
        desk.wait_settled()
        # As large as the screen has room for.
        desk.run("xdotool", "key", "super+Up")
        desk.run("xdotool", "windowmove", desk.window, "0", "0")
        desk.run("xdotool", "windowsize", "--sync", desk.window, "1280", "760")
        desk.wait_settled()
        desk.key("Escape")  # the line of the moment
        desk.move(640, 755)  # nothing is pointed at
        desk.click(*desk.cell(3, 2))  # snare top, snare bottom
        desk.move(640, 755)
        camera.take("window")
        camera.take("grid", "Grid of pairs")
        camera.take("pair", "Pair")
        desk.key("f")
        desk.move(640, 755)
        camera.take("pair-flipped", "Pair")
        desk.key("f")
        desk.key("p")
        desk.wait_told(lambda told: any(p["title"].startswith("flips, nudges to 10 ms, ") for p in told["parts"]), 60, "the proposals")
        desk.key("2")
        desk.wait_settled()
        desk.key("Escape")
        camera.take("proposals", "Versions")
        desk.key("1", "e")
        desk.wait_settled()
        camera.take("map", "Map of sources")
        desk.key("e")
        camera.sheet("o", "order")
        camera.sheet("0", "blind")
        camera.sheet("ctrl+r", "render", "/home/ada/net-loft rendered")
        camera.sheet("alt+r", "practice", "4", whole=True)


if __name__ == "__main__":
    main(*sys.argv[1:4])
