"""Whatever is dropped on the window: what can be opened is opened, what cannot is told in one line, and nothing is lost either way.

usage: drops.py WINDOW RECORDING FOLDER_FOR_PICTURES
"""

import json
import pathlib
import sys
import tempfile

from desk_session import DeskSession, wait_for


def main(window, recording, pictures):
    recording = pathlib.Path(recording).resolve()
    with tempfile.TemporaryDirectory(prefix="spillwright-drops-") as name, DeskSession(window, [], artefacts=pictures) as desk:
        folder = pathlib.Path(name)
        text, empty, missing, broken = folder / "notes.txt", folder / "nothing in it", folder / "gone", folder / "broken.spillwright"
        text.write_text("two microphones on the snare\n")
        empty.mkdir()
        broken.write_text('{"format": "spillwright/sess')
        false_sound = folder / "false"
        false_sound.mkdir()
        (false_sound / "take.wav").write_text("no sound at all\n")

        def refused(dropped, word):
            """It is told in one line that names it and says what to do; returns what the window says."""
            desk.key("Escape")
            desk.wait_told(lambda told: not told["notice"], 5, "the banner to go")
            desk.drop([dropped])
            told = desk.wait_told(lambda told: told["notice"] and not told["task"], 20, f"a word on {dropped.name}")
            print(f"{dropped.name}: {told['notice']}")
            assert "\n" not in told["notice"] and word in told["notice"] and ";" in told["notice"], told["notice"]
            return told

        def all_refused():
            for dropped, word in ((text, text.name), (empty, empty.name), (missing, missing.name), (broken, broken.name),
                                  (false_sound, "take.wav")):
                yield refused(dropped, word)

        for told in all_refused():  # on the empty window, which stays as it is
            assert "Start" in [p["title"] for p in told["parts"]]
        desk.screenshot("drops-1-refused.png")

        # One track stands for its folder.
        desk.key("Escape")
        desk.drop([sorted(recording.glob("*.wav"))[0]])
        desk.wait_settled(60)
        assert desk.title().startswith(recording.name + " (measured"), desk.title()
        desk.key("Home", "f", "Down", "m")
        changed = desk.wait_told(lambda told: "mute" in told["undo"], 5, "the changes")

        def rows(told):
            return [p["title"] for p in told["parts"] if "fields" in p]

        # With changes that are not saved: what cannot be opened takes nothing away.
        for told in all_refused():
            assert rows(told) == rows(changed) and told["undo"] == changed["undo"], told["undo"]
            assert desk.title().startswith(recording.name + ", not saved"), desk.title()
        desk.screenshot("drops-2-kept.png")

        # A session, dropped on it, is opened; the changes that were not saved are kept and offered when their recording is opened again.
        session = folder / "evening.spillwright"
        session.write_text(json.dumps({"format": "spillwright/session", "version": 1, "recording": {"absoluteFolder": str(recording)},
                                       "setting": {"tracks": [{"track": rows(changed)[2].split(",")[0], "flip": True}]}}))
        desk.drop([session])
        wait_for(lambda: desk.title().startswith("evening (measured"), 60, "the session, told by the title")
        told = desk.wait_settled(60)
        assert [", flipped," in row for row in rows(told)[:3]] == [False, False, True], rows(told)[:3]
        offer = next(p for p in told["parts"] if p.get("button", "").startswith("Go on where it stopped"))
        desk.screenshot("drops-3-session.png")
        desk.press(offer["button"])
        wait_for(lambda: desk.title().startswith(recording.name + ", not saved (measured"), 60, "the changes that were not saved")
        assert rows(desk.wait_settled(60)) == rows(changed)
        assert text.exists() and sorted(p.name for p in folder.iterdir()) == sorted(
            ["notes.txt", "nothing in it", "broken.spillwright", "false", "evening.spillwright"])


if __name__ == "__main__":
    main(*sys.argv[1:4])
