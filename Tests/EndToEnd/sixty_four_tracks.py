"""64 microphones: the window opens them, follows hands and wheel, proposes, renders and stops, and no step of it takes long.

usage: sixty_four_tracks.py WINDOW FOLDER_FOR_PICTURES
"""

import pathlib
import sys
import tempfile
import time

import numpy
from scipy.io import wavfile

from desk_session import DeskSession, middle, wait_for

TRACKS, SECONDS, RATE = 64, 12, DeskSession.rate
# Time of the window's own thread on a processor from one turn of its message loop to the next: what other programs do meanwhile is not
# in it. A frame of 20 a second.
LONGEST_STEP_MS = 50.0


def write_room(folder):
    """Eight players, each close to one microphone and heard by all others later and softer, some microphones upside down."""
    random = numpy.random.default_rng(64)
    length, farthest = SECONDS * RATE, RATE // 20
    players = random.normal(0, 0.1, (8, length + farthest))
    for player in players:  # loud and soft at moments of its own
        player *= numpy.repeat(10 ** random.uniform(-2, 0, SECONDS * 4 + 1), RATE // 4)[: length + farthest]
    for track in range(TRACKS):
        heard = random.normal(0, 0.0005, length)
        for k, player in enumerate(players):
            late = 0 if k == track % 8 and track < 8 else int(random.integers(50, farthest))
            level = 1.0 if k == track % 8 and track < 8 else random.uniform(0.05, 0.3)
            heard += level * player[farthest - late : farthest - late + length]
        sign = -1 if track % 5 == 4 else 1
        wavfile.write(folder / f"{track + 1:02} microphone {track + 1}.wav", RATE, (sign * heard * 2**15 * 0.3).clip(-32768, 32767).astype(numpy.int16))


class Steps:
    """The longest steps of the window, phase by phase."""

    def __init__(self, desk):
        self.desk, self.worst = desk, []
        desk.told()
        desk.steps.clear()

    def end_of(self, phase):
        told = self.desk.told()
        longest = max(self.desk.steps, key=lambda step: step["processor_ms"])
        self.desk.steps.clear()
        self.worst.append((longest["processor_ms"], longest["clock_ms"], phase))
        return told

    def report(self):
        for processor, clock, phase in self.worst:
            print(f"{phase:32} longest step {processor:6.1f} ms on the processor, {clock:6.1f} ms by the clock")
        late = [entry for entry in self.worst if entry[0] > LONGEST_STEP_MS]
        assert not late, "steps above " + f"{LONGEST_STEP_MS} ms: " + ", ".join(f"{phase} {ms:.0f} ms" for ms, _, phase in late)


def main(window, pictures):
    with tempfile.TemporaryDirectory(prefix="spillwright-64-") as name:
        folder = pathlib.Path(name)
        room = folder / "wide room"
        room.mkdir()
        write_room(room)
        before = {p.name: p.stat().st_mtime_ns for p in room.iterdir()}
        with DeskSession(window, [], artefacts=pictures) as desk:
            time.sleep(1)  # the device has been opened
            steps = Steps(desk)
            desk.drop([room])
            desk.wait_told(lambda told: told["task"] == "measuring", 20, "the folder to be opened")
            steps.end_of("opening")
            desk.wait_told(lambda told: told["task"] != "measuring", 60, "the measurement")
            steps.end_of("measuring")
            desk.wait_settled(60)
            told = steps.end_of("hearing sources")
            assert next(p for p in told["parts"] if "cells" in p)["cells"] == TRACKS
            desk.screenshot("64-opened.png")

            # The grid: the pointer crosses it, a pair is clicked, keys and a drag nudge while it is painted anew.
            for row in range(4, TRACKS, 8):
                desk.move(*desk.cell(row, row // 2))
            desk.click(*desk.cell(40, 7))
            desk.wait_told(lambda told: sorted(told["pair"]) == [7, 40], 5, "the pair that was clicked")
            steps.end_of("pointing at the grid")
            with desk.seen_to_change("Grid of pairs"):
                desk.run("xdotool", "key", "--delay", "33", *["period"] * 12, *["less"] * 3)  # as a key that is held repeats
            told = steps.end_of("nudging by keys")
            assert "nudge" in told["undo"], told["undo"]
            desk.key("Home")
            row = desk.part("microphone 1,")
            x, y = middle(row["fields"]["nudge"])
            desk.drag((x, y), (x + 60, y))
            told = steps.end_of("nudging by drag")
            desk.wait_told(lambda told: any(p["title"].startswith("microphone 1,") and "nudge +1.2" in p["title"] for p in told["parts"]), 20,
                           "all of the drag to be followed")
            desk.key("alt+plus", "alt+plus", "slash", "slash", "slash", "alt+minus", "alt+minus")
            steps.end_of("zoom and order of the grid")

            desk.move(*middle(row["fields"]["name"]))
            desk.run("xdotool", "click", "--repeat", "40", "--delay", "20", "5")
            desk.wait_told(lambda told: any(p["title"].startswith("microphone 64,") for p in told["parts"]), 10, "the end of the list")
            steps.end_of("scrolling the list")
            desk.screenshot("64-scrolled.png")
            desk.key("e")
            desk.key("Right", "Down", "Down")
            desk.screenshot("64-map.png")
            desk.key("e")
            steps.end_of("map of sources")

            # Played while versions change.
            desk.key("space", "f", "1", "5", "1", "5")
            time.sleep(0.5)
            desk.key("space")
            steps.end_of("playing and switching")

            # Proposing is stopped at once and leaves what there was; then the first card is let come.
            desk.press("Propose")
            desk.wait_told(lambda told: told["task"] == "proposing", 5, "proposals to be looked for")
            time.sleep(0.3)
            desk.press("Stop")
            told = desk.wait_told(lambda told: not told["task"], 5, "the search to stop")
            assert told["notice"] == "Stopped." and told["heard"] == 5, told["notice"]
            assert next(p for p in told["parts"] if p.get("button") == "flips")["title"] == "flips", "a card from a search that was stopped"
            steps.end_of("proposing, stopped")
            desk.key("2")
            desk.wait_told(lambda told: told["heard"] == 2, 30, "the first card to be heard")
            steps.end_of("proposing the first card")
            desk.screenshot("64-proposed.png")
            desk.key("Escape")
            desk.wait_told(lambda told: not told["task"], 10, "the search to stop")
            steps.end_of("proposing, stopped again")

            # Rendering is stopped and leaves nothing behind; then it is let end.
            target = folder / "rendered"
            desk.key("ctrl+r")
            desk.wait_told(lambda told: told["sheet"] == "Render", 5, "the sheet")
            desk.type(str(target))
            desk.key("Return", "Escape", "Escape")  # go, close the sheet if it is there still, stop
            told = desk.wait_told(lambda told: not told["task"], 20, "the rendering to stop")
            steps.end_of("rendering, stopped")
            assert told["notice"] in ("Stopped.", ""), told["notice"]
            assert [p.name for p in folder.iterdir()] == ["wide room"], [p.name for p in folder.iterdir()]
            desk.key("ctrl+r")
            desk.wait_told(lambda told: told["sheet"] == "Render", 5, "the sheet")
            desk.type(str(target))
            desk.key("Return")
            desk.wait_told(lambda told: told["notice"].startswith("Rendered"), 60, "the files")
            steps.end_of("rendering")
            assert len(list(target.iterdir())) == TRACKS
            assert {p.name: p.stat().st_mtime_ns for p in room.iterdir()} == before, "the recording was written to"
            steps.report()


if __name__ == "__main__":
    main(*sys.argv[1:3])
