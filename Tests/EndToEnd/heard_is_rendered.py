"""What is heard equals what is rendered: the real window on the demo, played through a real audio server, a track flipped by key.

usage: heard_is_rendered.py WINDOW CLI RECORDING FOLDER_FOR_PICTURES
"""

import json
import pathlib
import subprocess
import sys
import tempfile
import time

import numpy
from scipy import signal
from scipy.io import wavfile

from desk_session import OUTPUT_LEVEL_DB, DeskSession, difference_db, wait_for

# The sum is rendered as 32-bit float; it is played as float too and recorded with at least 24 bits. What remains is far below this.
LARGEST_DIFFERENCE_DB = -80.0
READY = "measured"  # in the window's title


def rendered_sum(cli, recording, flipped, folder):
    """The sum of the recording with the named tracks flipped, as the command line renders it."""
    setting = folder / "setting.json"
    tracks = [{"track": name, "flip": True} for name in flipped]
    setting.write_text(json.dumps({"format": "spillwright/setting", "version": 1, "name": "test", "tracks": tracks}))
    target = folder / ("-".join(flipped) or "plain")
    path = folder / (target.name + ".sum.wav")
    subprocess.run([cli, "render", recording, "--setting", setting, "--to", target, "--sum", path, "--bits", "32f"], check=True)
    rate, samples = wavfile.read(path)
    assert rate == DeskSession.rate
    return samples.astype(numpy.float64)


def main(window, cli, recording, pictures):
    tracks = json.loads(subprocess.run([cli, "measure", recording, "--json", "-"], check=True, stdout=subprocess.PIPE).stdout)["tracks"]
    first = tracks[0]["name"]
    with tempfile.TemporaryDirectory() as name:
        folder = pathlib.Path(name)
        plain, flipped = rendered_sum(cli, recording, [], folder), rendered_sum(cli, recording, [first], folder)

    with DeskSession(window, [recording], artefacts=pictures) as desk:
        wait_for(lambda: READY in desk.title(), 120, "the measurement, told by the window's title")
        desk.screenshot("measured.png")
        with desk.recorded(14) as recording_heard:
            desk.key("q")  # as it is rendered: versions not matched in loudness
            desk.key("Home")  # choose the first track
            desk.key("space")
            time.sleep(5)
            desk.key("f")
            time.sleep(5)
            desk.key("space")
        desk.screenshot("flipped.png")
        assert desk.alive()
    heard = recording_heard.samples

    # Where the recorder's time begins in the recording's: by correlation over the first seconds of sound.
    onset = int(numpy.argmax(numpy.abs(heard).max(axis=1) > 0))
    assert numpy.abs(heard[onset:]).max() > 0, "nothing was heard"
    length = 3 * desk.rate
    part = heard[onset + 4800 : onset + 4800 + length, 0]
    lags = signal.correlate(plain[: 6 * desk.rate, 0], part, mode="valid")
    place = int(numpy.argmax(numpy.abs(lags)))  # of `part` in the rendered sum
    shift = onset + 4800 - place  # heard[n + shift] is rendered[n]
    print(f"sound begins {onset / desk.rate:.3f} s into the recording, shift {shift} samples")

    gain = 10 ** (OUTPUT_LEVEL_DB / 20)
    block = desk.rate // 20
    differs = []
    end = (onset - shift) + block * 4  # past the fade-in
    while end + block + shift < len(heard) and end + block <= len(plain):
        piece = heard[end + shift : end + shift + block]
        if numpy.abs(piece).max() == 0:
            break
        differs.append((end, difference_db(piece, gain * plain[end : end + block]), difference_db(piece, gain * flipped[end : end + block])))
        end += block
    as_plain = [d for d in differs if d[1] < LARGEST_DIFFERENCE_DB]
    as_flipped = [d for d in differs if d[2] < LARGEST_DIFFERENCE_DB]
    change = len(as_plain)
    print(f"{len(differs)} blocks of 50 ms: {len(as_plain)} as rendered without the flip, {len(as_flipped)} with it; "
          f"worst {max((d[1] for d in as_plain), default=0):.1f} and {max((d[2] for d in as_flipped), default=0):.1f} dB")
    # Before the key the one, after it the other, and at most the cross-fade and the fade-out between.
    assert len(as_plain) > 60 and len(as_flipped) > 60, differs
    assert [d[0] for d in as_plain] == [d[0] for d in differs[:change]], "the sound before the flip is not the rendered sum"
    rest = differs[change:]
    assert sum(d[2] >= LARGEST_DIFFERENCE_DB for d in rest) <= 3, "the sound after the flip is not the rendered sum"

if __name__ == "__main__":
    main(*sys.argv[1:5])
