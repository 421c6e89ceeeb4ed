"""Two takes side by side in the real window: the verdict, and K, which changes over at the same musical place and equally loud.

usage: takes_compared.py WINDOW WRITER FOLDER_FOR_PICTURES

WRITER makes the takes (WriteTakes.cpp): the same playing, in the second 0.75 s later and 6 dB softer, one microphone moved and one inverted.
"""

import pathlib
import subprocess
import sys
import tempfile
import time

import numpy
from scipy import signal
from scipy.io import wavfile

from desk_session import DeskSession, middle

LEAD = 0.75  # s
# Places are told on a grid of 21 ms, evened over some strokes: off by some milliseconds (Tests/Bench/Takes.md), other ones at other places. What
# slips by a block of the audio server slips by 21 ms. (That the player adds nothing to it: Tests/Audition/ChangeOverTests.cpp.)
LARGEST_STEP = 0.012
LARGEST_THERE_AND_BACK = 0.010
LARGEST_DIFFERENCE_DB = 1.0  # of pieces of some seconds, where what is matched is the loudness of all of it
BLOCK = 0.25  # s, in which a place is looked for
SWITCHES = 4


def sum_of(folder):
    """What the mean of left and right has of it, but for a factor: a pair at the sides is 3 dB below what stands in the centre."""
    tracks = []
    for path in sorted(folder.glob("*.wav")):
        rate, samples = wavfile.read(path)
        assert rate == DeskSession.rate
        side = path.stem.endswith((" L", " R"))
        tracks.append(samples.astype(numpy.float64) / 2.0**15 * (numpy.sqrt(0.5) if side else 1.0))
    return numpy.sum(tracks, axis=0)


def weighted(samples):
    """K-weighting at 48 kHz: the two filters of ITU-R BS.1770-4, tables 1 and 2."""
    shelf = signal.lfilter([1.53512485958697, -2.69169618940638, 1.19839281085285], [1, -1.69065929318241, 0.73248077421585], samples)
    return signal.lfilter([1, -2, 1], [1, -1.99004745483398, 0.99007225036621], shelf)


def place_of(block, whole):
    """Where it lies in the whole, in samples, and how well it fits there, 0..1."""
    matches = signal.correlate(whole, block, mode="valid", method="fft")
    power = signal.convolve(whole**2, numpy.ones(len(block)), mode="valid", method="fft")
    fit = matches / numpy.sqrt(numpy.maximum(power, 1e-9) * numpy.sum(block**2) + 1e-12)
    best = int(numpy.argmax(fit))
    return best, fit[best]


def read_off(heard, takes):
    """Block by block: when, which take, its place in the music less the time: constant as long as nothing slips."""
    found = []
    length = round(BLOCK * DeskSession.rate)
    for start in range(0, len(heard) - length, length):
        block = heard[start : start + length]
        if numpy.sqrt(numpy.mean(block**2)) < 1e-5:
            continue
        fits = [place_of(block, take) for take in takes]
        which = int(fits[1][1] > fits[0][1])
        if max(fits[0][1], fits[1][1]) < 0.9:
            continue  # a change over, or the beginning
        found.append((start, which, (fits[which][0] - start) / DeskSession.rate - which * LEAD, fits[which][0]))
    return found


def main(window, writer, pictures):
    with tempfile.TemporaryDirectory(prefix="spillwright-takes-") as name:
        first, second = pathlib.Path(name) / "take one", pathlib.Path(name) / "take two"
        subprocess.run([writer, first, second], check=True)
        takes = [sum_of(first), sum_of(second)]
        with DeskSession(window, [first], artefacts=pictures) as desk:
            desk.wait_settled()
            desk.key("alt+t")
            # Its "Open" is beside that of the window.
            desk.wait_told(lambda told: sum("Open" == p.get("button") for p in told["parts"]) == 2, 10, "the dialogue for folders")
            desk.click(*middle([p for p in desk.told()["parts"] if "text" in p][-1]["place"]))  # where a path is typed
            desk.type(str(second))
            desk.key("Return")
            desk.press("Open")
            desk.wait_told(lambda told: told["sheet"] == "Two takes compared", 10, "the sheet")
            told = desk.wait_told(lambda told: told["settled"] and any(p["title"].startswith("tom:") for p in told["parts"]), 60, "the verdict")
            verdict = [p["title"] for p in told["parts"] if ": " in p["title"] or p["title"].startswith("no ")]
            desk.screenshot("takes-1-verdict.png")
            print("\n".join(verdict))
            assert any(line.startswith("tom: the other way up than in A") for line in verdict), verdict
            assert any(line.startswith("overhead L: moved") for line in verdict), verdict
            # It opens on what was changed; a line chooses what it is about.
            assert 4 in told["pair"], told["pair"]
            desk.press(next(line for line in verdict if line.startswith("overhead L: moved")))
            desk.wait_told(lambda told: 7 in told["pair"], 5, "the pair of the line")

            with desk.recorded(11) as recording:
                desk.key("space")
                for k in range(SWITCHES):
                    time.sleep(1.0 if k % 2 else 2.0)
                    desk.key("k")
                time.sleep(1.5)
            desk.screenshot("takes-2-heard.png")
            assert desk.alive()

    heard = recording.samples.mean(axis=1)
    found = read_off(heard, takes)
    pieces = []  # of one take each
    for block in found:
        if not pieces or pieces[-1][-1][1] != block[1]:
            pieces.append([])
        pieces[-1].append(block)
    offsets = [float(numpy.median([block[2] for block in piece])) for piece in pieces]
    print("heard " + ", ".join(f"{'AB'[piece[0][1]]} {1e3 * (offset - offsets[0]):+.2f} ms" for piece, offset in zip(pieces, offsets)))
    assert [piece[0][1] for piece in pieces] == [k % 2 for k in range(SWITCHES + 1)], "the takes are not heard in turn"
    for k in range(1, len(offsets)):
        assert abs(offsets[k] - offsets[k - 1]) < LARGEST_STEP, f"change {k} slipped by {1e3 * (offsets[k] - offsets[k - 1]):.2f} ms"
    for k in range(2, len(offsets), 2):
        assert abs(offsets[k] - offsets[k - 2]) < LARGEST_THERE_AND_BACK, f"there and back slipped by {1e3 * (offsets[k] - offsets[k - 2]):.2f} ms"

    # How loud each piece is against the first take at the same place of the music.
    loud = weighted(heard)
    music = weighted(takes[0])
    length = round(BLOCK * DeskSession.rate)
    levels = {0: [0.0, 0.0], 1: [0.0, 0.0]}
    for start, which, _, place in found:
        there = place - round(which * LEAD * DeskSession.rate)
        if there < 0 or there + length > len(music):
            continue
        levels[which][0] += numpy.sum(loud[start : start + length] ** 2)
        levels[which][1] += numpy.sum(music[there : there + length] ** 2)
    decibels = [10 * numpy.log10(levels[which][0] / levels[which][1]) for which in (0, 1)]
    print(f"B is {decibels[1] - decibels[0]:+.2f} dB louder than A")
    assert abs(decibels[1] - decibels[0]) < LARGEST_DIFFERENCE_DB


if __name__ == "__main__":
    main(*sys.argv[1:4])
