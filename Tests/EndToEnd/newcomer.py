"""The first five minutes of somebody who has never seen the window, with the mouse: from the empty window to rendered files.

usage: newcomer.py WINDOW FOLDER_FOR_PICTURES
"""

import pathlib
import sys
import tempfile

import numpy
from scipy.io import wavfile

from desk_session import DeskSession, wait_for

FIRST_FLIPPED = "snare bottom"
CARDS = {"as recorded": 1, "flips": 2, "mine": 5}


def flipped(told):
    """The tracks that the rows call upside down."""
    rows = [p["title"] for p in told["parts"] if "fields" in p]
    return {row.split(",")[0] for row in rows if ", flipped," in row}, {row.split(",")[0] for row in rows}


def samples_of(path):
    _, samples = wavfile.read(path)
    return samples


def main(window, pictures):
    with tempfile.TemporaryDirectory(prefix="spillwright-newcomer-") as folder, DeskSession(window, [], artefacts=pictures) as desk:
        # The empty window says what to do next, and nothing else can be done.
        assert desk.part("Open a folder")["enabled"] and desk.part("Open the demo")["enabled"]
        assert not desk.part("Propose")["enabled"] and not desk.part("Render")["enabled"]
        desk.screenshot("newcomer-1-empty.png")
        desk.press("Open the demo")
        desk.wait_told(lambda told: told["task"], 10, "the demo to be computed")
        desk.screenshot("newcomer-2-computing.png")
        desk.wait_settled(120)
        assert "sources heard" in desk.title() and "Start" not in [p["title"] for p in desk.told()["parts"]]

        # A look at the grid: what is pointed at is read out below it, a click shows the pair.
        with desk.seen_to_change("Grid of pairs"):
            desk.move(*desk.cell(9, 2))
        desk.screenshot("newcomer-3-hover.png")
        with desk.seen_to_change("Comb response", 300):
            desk.click(*desk.cell(10, 9))
            desk.wait_told(lambda told: sorted(told["pair"]) == [9, 10], 5, "the pair that was clicked")
        desk.press("Dismiss")

        # Played, a track flipped, and back.
        with desk.seen_to_change("Waveform of the sum"):
            desk.press("Play or stop")
            desk.wait_told(lambda told: told["playing"], 10, "it to play")
        with desk.seen_to_change("Grid of pairs"):
            desk.press(FIRST_FLIPPED, "flip")
            desk.wait_told(lambda told: flipped(told)[0] == {FIRST_FLIPPED} and told["heard"] == 5, 5, "the flip")
        desk.screenshot("newcomer-4-flipped.png")
        desk.choose("Versions", "undo")
        told = desk.wait_told(lambda told: not flipped(told)[0], 5, "the flip to be undone")
        assert told["heard"] == 1 and FIRST_FLIPPED in told["notice"], told["notice"]
        desk.press(FIRST_FLIPPED, "flip")  # "mine" from now on

        # Proposals change nothing that is heard until one is asked for; that is one step of undo.
        desk.press("Propose")
        desk.wait_told(lambda told: told["task"] == "proposing", 5, "proposals to be looked for")
        told = desk.wait_settled(60)
        assert told["heard"] == 5 and flipped(told)[0] == {FIRST_FLIPPED}, told["heard"]
        desk.screenshot("newcomer-5-proposed.png")
        desk.press("flips")
        taken = desk.wait_told(lambda told: told["heard"] == 2, 5, "the card to be heard")
        assert taken["playing"] and len(flipped(taken)[0]) >= 2, flipped(taken)
        desk.choose("Versions", "undo")
        told = desk.wait_told(lambda told: told["heard"] == 5, 5, "one step to lead back")
        assert flipped(told)[0] == {FIRST_FLIPPED}
        desk.choose("Versions", "redo")
        desk.wait_told(lambda told: flipped(told) == flipped(taken), 5, "the step to be done again")

        for name in ("as recorded", "mine", "flips"):
            desk.press(name)
            told = desk.wait_told(lambda told: told["heard"] == CARDS[name], 5, f"'{name}' to be heard")
            assert told["playing"] and flipped(told)[0] == {"as recorded": set(), "mine": {FIRST_FLIPPED}}.get(name, flipped(taken)[0])
        desk.press("Play or stop")
        desk.wait_told(lambda told: not told["playing"], 5, "it to stop")

        # Rendered, and read back: every track is the recording's, upside down where the rows say so.
        target = pathlib.Path(folder) / "for the mix"
        desk.press("Render")
        desk.wait_told(lambda told: told["sheet"] == "Render", 5, "the sheet")
        desk.screenshot("newcomer-6-render.png")
        desk.type(str(target))
        desk.press("Render")
        told = desk.wait_told(lambda told: told["notice"].startswith("Rendered"), 60, "the files")
        assert str(target) in told["notice"], told["notice"]
        desk.screenshot("newcomer-7-rendered.png")
        recording = next(desk.settings.glob("cache/demo/*/*"))
        upside_down, all_tracks = flipped(taken)
        found = set()
        for file in sorted(recording.glob("*.wav")):
            before, after = samples_of(file), samples_of(target / file.name)
            for channel, (b, a) in enumerate(zip(before.T.reshape(-1, len(before)), after.T.reshape(-1, len(after)))):
                named = [t for t in all_tracks if t in (file.stem[3:], file.stem[3:] + " " + "LR"[channel])]
                assert len(named) == 1, (file, named)
                found.update(named)
                expected = -b if named[0] in upside_down else b
                assert numpy.abs(b).max() > 0 and numpy.array_equal(a, expected), f"{file.name} is not as it was heard"
        assert found == all_tracks, found ^ all_tracks
        whole = samples_of(target.parent / "for the mix sum.wav")
        assert numpy.abs(whole).max() > 0 and whole.shape[1] == 2
        print(f"{len(upside_down)} of {len(found)} tracks taken upside down: " + ", ".join(sorted(upside_down)))


if __name__ == "__main__":
    main(*sys.argv[1:3])
