"""What the window looks like: pictures of its states at three sizes, light and dark, kept to be looked at. That its text has room is measured
by Tests/Desk/LookTests.cpp; here that the window fits its screen, fills it, and is drawn in the colours asked for.

usage: looks.py WINDOW RECORDING FOLDER_FOR_PICTURES
"""

import sys

import numpy

from desk_session import DeskSession

# The screen, what the window is asked for, and how much larger than at home it is then.
SCREENS = {"1280x800": ([], 1.0), "1920x1080": (["--dark"], 1.0), "3840x2160": (["--scale", "200"], 2.0)}
HOME = "1280x800"
# Their text is measured at every size by the test above; their pictures are kept at home.
SHEETS = (("question", "keys"), ("ctrl+comma", "settings"), ("v", "terms"), ("ctrl+h", "history"), ("0", "blind"), ("alt+d", "device"), ("shift+F1", "manual"))
HOME_BUTTON_HEIGHT = 30
TITLE_BAR = 40  # of the window manager, at most


def main(window, recording, pictures):
    for screen, (asked, scale) in SCREENS.items():
        width, height = map(int, screen.split("x"))
        with DeskSession(window, asked + [recording], size=screen, artefacts=pictures) as desk:
            desk.wait_settled(60)
            desk.run("xdotool", "key", "super+Up")
            desk.run("xdotool", "windowmove", desk.window, "0", "0")
            desk.run("xdotool", "windowsize", "--sync", desk.window, str(width), str(height - TITLE_BAR))
            told = desk.wait_told(lambda told: told["size"][2] >= 0.99 * width, 30, "the window to fill the screen")
            assert told["size"][3] >= height - 2 * TITLE_BAR, told["size"]
            assert abs(desk.part("Menu")["place"][3] - scale * HOME_BUTTON_HEIGHT) <= 1, desk.part("Menu")
            for part in told["parts"]:
                if "button" in part:
                    x, y, w, h = part["place"]
                    assert x >= 0 and y >= 0 and x + w <= told["size"][2] + 1 and y + h <= told["size"][3] + 1, part

            def picture(state):
                """Kept; returns how bright it is, 0 to 1. Nothing is left black, nothing is one colour."""
                desk.screenshot(f"looks-{screen}-{state}.png")
                seen = desk.picture()
                assert len(numpy.unique(seen[::3, ::3].reshape(-1, 3), axis=0)) > 200, f"{screen} {state}: hardly any colours"
                return float(numpy.median(seen) / 255)

            desk.press("Propose")
            desk.wait_told(lambda told: any(p["title"].startswith("flips, nudges to 10 ms, ") for p in told["parts"]), 60, "the proposals")
            desk.press("flips")
            desk.wait_told(lambda told: told["heard"] == 2, 5, "the flips to be heard")
            first = picture("proposals")
            desk.key("e", "Right")
            picture("map")
            desk.key("e")
            for key, state in SHEETS if screen == HOME else ():
                desk.key(key)
                desk.wait_told(lambda told: told["sheet"], 5, f"the sheet '{state}'")
                desk.screenshot(f"looks-{screen}-{state}.png")
                desk.key("Escape")
                desk.wait_told(lambda told: not told["sheet"], 5, f"the sheet '{state}' to close")
            desk.key("t")
            desk.wait_told(lambda told: True, 5, "the twin")
            second = picture("twin")
            dark, light = (first, second) if "--dark" in asked else (second, first)
            print(f"{screen}: brightness light {light:.2f}, dark {dark:.2f}")
            assert light > 0.85 and dark < 0.2, (light, dark)


if __name__ == "__main__":
    main(*sys.argv[1:4])
