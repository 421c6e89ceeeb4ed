"""The demo's faults, as its scene has them: where two microphones stand close to one source, the proposed flips undo what is wrong
between the two; and the sum, added up here, is above that of the recording with every fault put right by hand.

usage: faults_of_demo.py CLI DEMO_RECORDING SCENE
"""
import json
import pathlib
import re
import sys

import numpy as np

from summation import decibels, gain_of_sums, power_of, propose, read_tracks

BENEATH = "snare bottom"  # not wired wrongly, but hears the drum from the other side
NEIGHBOURS = (("snare top", BENEATH), ("bass bridge", "bass neck"), ("fiddle", "ribbon"))


def gain_db(tracks, alone, flips=(), late={}):
    """Of the mono sum, some tracks flipped, those that are late brought forward."""
    summed = sum((-1 if name in flips else 1) * np.roll(samples, -late.get(name, 0)) for name, samples in tracks.items())
    return decibels(gain_of_sums([summed], alone))


def main(cli, demo, scene):
    microphones = {re.sub(r"^\d+ ", "", mic["file"]): mic for mic in json.loads(pathlib.Path(scene).read_text())["microphones"]}
    inverted = {name for name, mic in microphones.items() if mic.get("inverted")}
    late = {name: mic["late_samples"] for name, mic in microphones.items() if "late_samples" in mic}
    assert len(inverted) >= 3 and len(late) >= 2
    faults = inverted | {BENEATH}

    tracks = read_tracks(demo)
    proposal = propose(cli, demo, "--allow", "flips")[0]
    flips = {track["track"] for track in proposal["setting"]["tracks"] if track["flip"]}
    alone = power_of(tracks.values())
    recorded, undone, on_time = (gain_db(tracks, alone, *done) for done in ((), (faults,), (faults, late)))
    proposed = gain_db(tracks, alone, flips)
    print(f"{recorded:.2f} dB as recorded, {undone:.2f} undone, {on_time:.2f} on time too, {proposed:.2f} with {sorted(flips)} flipped")
    for first, second in NEIGHBOURS:
        wrong = (first in faults) != (second in faults)
        assert ((first in flips) != (second in flips)) == wrong, (first, second)
    assert proposal["proven"]
    assert proposed > max(undone, on_time) + 1.0 and undone > recorded + 0.5


if __name__ == "__main__":
    main(*sys.argv[1:4])
