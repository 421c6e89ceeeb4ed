"""A source heard through one microphone: the real window on the demo, a cell of the map chosen and played by key, recorded from a real
audio server.

usage: heard_where.py WINDOW CLI RECORDING FOLDER_FOR_PICTURES
"""

import json
import pathlib
import subprocess
import sys
import time

import numpy
from scipy import signal
from scipy.io import wavfile

from desk_session import OUTPUT_LEVEL_DB, DeskSession, difference_db, wait_for

# 24-bit files are played as float and recorded with at least 24 bits: what remains is far below this.
LARGEST_DIFFERENCE_DB = -70.0
CENTRE_DB = -3.0103  # a track that is not one of a pair stands in the centre, constant power
SECONDS = 5


def samples_of(path):
    rate, samples = wavfile.read(path)  # 24 bit arrives in the upper bytes of 32
    assert rate == DeskSession.rate
    return samples.astype(numpy.float64) / 2.0**31


def main(window, cli, recording, pictures):
    told = json.loads(subprocess.run([cli, "measure", recording, "--json", "-"], check=True, stdout=subprocess.PIPE).stdout)
    source = told["sources"][1]
    track = next(t for t in told["tracks"] if t["name"] not in source["closeTracks"] and t["linkedTo"] is None and t["state"] == "ok")
    steps_down = [t["name"] for t in told["tracks"]].index(track["name"])
    lead = source["leads"][0]
    print(f"{source['name']} through {track['name']}, {lead['from_s']} to {lead['to_s']} s")

    with DeskSession(window, [recording], artefacts=pictures) as desk:
        wait_for(lambda: "sources heard" in desk.title(), 120, "the sources, told by the window's title")
        desk.key("e")
        desk.key("Home", *["Down"] * steps_down)
        desk.key("Right")  # from the first source to the second
        with desk.recorded(SECONDS + 3) as recording_heard:
            desk.key("i")
            time.sleep(SECONDS)
            desk.screenshot("map.png")
            desk.key("i")
        assert desk.alive()
    heard = recording_heard.samples

    sounding = numpy.flatnonzero(numpy.abs(heard).max(axis=1) > 0)
    assert len(sounding) > 2 * desk.rate, "nothing was heard"
    file = pathlib.Path(recording) / track["file"]
    loop = samples_of(file)[round(lead["from_s"] * desk.rate) : round(lead["to_s"] * desk.rate)]
    gain = 10 ** ((OUTPUT_LEVEL_DB + CENTRE_DB) / 20)
    assert len(loop) >= desk.rate, "the moment is too short to be heard"
    part = heard[sounding[0] + desk.rate // 5 : sounding[0] + desk.rate // 5 + desk.rate // 2, :]
    lags = signal.correlate(loop, part[:, 0], mode="valid")
    place = int(numpy.argmax(numpy.abs(lags)))
    expected = gain * loop[place : place + len(part)]
    for side in range(2):
        difference = difference_db(part[:, side], expected)
        print(f"side {side}: differs by {difference:.1f} dB, {place / desk.rate:.2f} s into the loop")
        assert difference < LARGEST_DIFFERENCE_DB, difference


if __name__ == "__main__":
    main(*sys.argv[1:5])
