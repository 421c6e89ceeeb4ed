"""The real window is killed in the middle of edits and started again: what it offers to go on with holds all but the last second.

usage: goes_on_after_a_crash.py WINDOW RECORDING FOLDER_FOR_PICTURES
"""

import json
import pathlib
import shutil
import sys
import tempfile
import time

from desk_session import DeskSession, wait_for

# A change is on disk a second later at most; the rest is for the key to arrive and for a machine that has other work.
LOST_SECONDS = 1.0 + 2.0
PRESSED_SECONDS = 7.0


def setting(document):
    return document["setting"]["tracks"]


def main(window, recording, pictures):
    with tempfile.TemporaryDirectory(prefix="spillwright-session-") as folder:
        session = pathlib.Path(folder) / "evening take.spillwright"
        # Beside the session: of a recording elsewhere the user is asked first.
        recording = shutil.copytree(recording, pathlib.Path(folder) / "take")
        # The least that a session file may be: the rest has its usual values.
        session.write_text(json.dumps({"format": "spillwright/session", "version": 1, "setting": {"tracks": []},
                                       "recording": {"absoluteFolder": str(pathlib.Path(recording).resolve())}}))
        with DeskSession(window, [session], artefacts=pictures) as desk:
            kept = desk.settings / "autosave"
            wait_for(lambda: desk.title().startswith("evening take (measured"), 120, "the session, told by the title")
            desk.key("Home", "f", "Down", "m")
            wait_for(lambda: desk.title().startswith("evening take, not saved"), 10, "the mark of what is not saved")
            desk.key("ctrl+s")
            wait_for(lambda: desk.title().startswith("evening take (measured"), 10, "the session to be saved")
            saved = json.loads(session.read_text())
            assert [t["flip"] for t in setting(saved)[:2]] == [True, False], setting(saved)[:2]
            assert setting(saved)[1]["muted"]
            assert not list(kept.iterdir()), list(kept.iterdir())
            assert len(setting(saved)) > 4

            desk.key("Down", "bracketleft", "bracketleft", "h", "6")
            desk.key("End", "f")
            # What a running program keeps is offered to no other.
            wait_for(lambda: list(kept.glob("*.spillwright")), 10, "the state to be kept")
            first = desk.window, desk.window_process
            desk.start_window([])
            for _ in range(20):
                desk.key("ctrl+g")
                time.sleep(0.1)
                assert desk.title() == "Spillwright", desk.title()
            desk.close_window()
            desk.window, desk.window_process = first
            time.sleep(1.0)  # the window manager gives the keyboard back
            desk.click(40, 68)  # on a heading
            pressed = []
            while not pressed or pressed[-1] < pressed[0] + PRESSED_SECONDS:  # a nudge of a sample at a time, until the blow falls
                desk.key("period")
                pressed.append(time.monotonic())
                time.sleep(0.05)
            desk.kill_window()
            killed = time.monotonic()
            assert json.loads(session.read_text()) == saved, "the file was written without being asked"

            desk.start_window([])
            assert desk.title() == "Spillwright", desk.title()

            def goes_on():  # a key that comes before the window is ready is lost; one that comes after it went on does nothing
                desk.key("ctrl+g")
                return desk.title().startswith("evening take, not saved (measured")

            time.sleep(1.0)
            desk.screenshot("offer.png")
            wait_for(goes_on, 120, "the state that was offered")
            desk.screenshot("gone-on.png")
            desk.key("ctrl+s")
            wait_for(lambda: desk.title().startswith("evening take (measured"), 10, "the session to be saved")
            after = json.loads(session.read_text())
            tracks = setting(after)
            assert tracks[0]["flip"] and tracks[1]["muted"] and tracks[-1]["flip"]
            assert tracks[2]["gain_dB"] == -1.0, tracks[2]
            assert after["holds"] == [tracks[2]["track"]], after["holds"]
            assert [v["name"] for v in after["versions"]] == ["mine", "kept6"], after["versions"]
            samples = round(tracks[-1]["nudge_ms"] * DeskSession.rate / 1000)
            certain = sum(1 for at in pressed if at < killed - LOST_SECONDS)
            print(f"{len(pressed)} nudges pressed, {samples} there again, {certain} were older than {LOST_SECONDS} s")
            assert 0 < certain <= samples <= len(pressed), (certain, samples, len(pressed))

            # Saved and closed: there is nothing to go on with.
            desk.close_window()
            assert not list(kept.iterdir()), list(kept.iterdir())


if __name__ == "__main__":
    main(*sys.argv[1:4])
