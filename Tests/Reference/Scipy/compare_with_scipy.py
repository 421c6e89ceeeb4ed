#!/usr/bin/env python3
"""Cross-spectra and coherence of a folder of WAV files against scipy.signal.csd and coherence, to 1e-4; and the coherence
of a few pairs against mscohere of Octave's signal package, another implementation by other people.

    compare_with_scipy.py --tool DUMP_PROGRAM            on a session made here
    compare_with_scipy.py --tool DUMP_PROGRAM FOLDER     on the WAV files of a folder
    compare_with_scipy.py --dump OUT.json FOLDER         with a dump made before

Cross-spectra are compared relative to sqrt(S_ii S_jj), coherence (0..1) as it is. The program transforms in single
precision: rounding, spread evenly over frequency, is about 2^-24 sqrt(log2(window)) = 2e-7 of the mean amplitude of a
window. A bin 50 dB below a track's mean power is off by 7e-5 a window at worst, by 1e-5 over a hundred, and the largest
of a million bins by five times that. Quieter bins are left out, as are bins of nothing.
"""
import argparse
import json
import os
import subprocess
import sys
import tempfile
import warnings

import numpy as np
import scipy.signal
from scipy.io import wavfile

TOLERANCE = 1e-4
FLOOR_DB = -50.0
OCTAVE_PAIRS = 3


def make_session(folder):
    """Shared and own noise, delays, an inverted track, a tone, an offset, a quiet and a silent track."""
    rate, length = 48000, 48000 * 14 + 321
    random = np.random.default_rng(1)
    shared = random.standard_normal(length)
    tone = np.sin(2 * np.pi * 441.7 * np.arange(length) / rate)
    tracks = {
        "01 near": 0.1 * shared,
        "02 far": 0.05 * np.roll(shared, 150) + 0.03 * random.standard_normal(length),
        "03 inverted": -0.08 * np.roll(shared, 33) + 0.05 * random.standard_normal(length),
        "04 tone": 0.3 * tone + 0.002 * shared + 0.1,
        "05 quiet": 1e-4 * np.cumsum(random.standard_normal(length)) / 100 + 1e-5 * shared,
        "06 short": 0.1 * random.standard_normal(length // 2),
        "07 silent": np.zeros(length),
    }
    for name, samples in tracks.items():
        wavfile.write(os.path.join(folder, name + ".wav"), rate, samples.astype(np.float32))
    stereo = np.stack([0.1 * shared + 0.02 * random.standard_normal(length), 0.1 * np.roll(shared, 7)], axis=1)
    wavfile.write(os.path.join(folder, "08 pair.wav"), rate, stereo.astype(np.float32))


def read_track(folder, track):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # chunks that wavfile does not know
        rate, samples = wavfile.read(os.path.join(folder, track["file"]))
    if samples.ndim == 2:
        samples = samples[:, track["channel"]]
    full = {"int16": 2.0**15, "int32": 2.0**31, "float32": 1.0}[samples.dtype.name]  # 24-bit comes shifted up
    return rate, samples.astype(np.float64) / full


def octave_coherence(first, second, window, rate):
    script = os.path.join(os.path.dirname(os.path.abspath(__file__)), "coherence_in_octave.m")
    with tempfile.TemporaryDirectory() as scratch:
        given, result = os.path.join(scratch, "pair.f64"), os.path.join(scratch, "coherence.f64")
        np.concatenate([first, second]).tofile(given)
        subprocess.run(["octave-cli", "--no-gui", "-qf", script, given, str(len(first)), str(window), str(rate), result],
                       check=True, stderr=subprocess.DEVNULL)  # it complains of its own end
        return np.fromfile(result)


def compare(folder, dump):
    with open(dump) as file:
        about = json.load(file)
    rate, window, bins = about["sampleRate_Hz"], about["windowLength"], about["binCount"]
    values = np.fromfile(dump + ".f64").view(np.complex128)
    signals = []
    for track in about["tracks"]:
        own_rate, samples = read_track(folder, track)
        if own_rate != rate:
            sys.exit(f"{track['file']}: is resampled, so its samples cannot be compared; use a folder of one rate")
        signals.append(samples)
    length = max(len(samples) for samples in signals)
    signals = [np.pad(samples, (0, length - len(samples))) for samples in signals]
    count = len(signals)
    if len(values) != count * (count + 1) // 2 * bins:
        sys.exit(f"{dump}: holds {len(values)} values where {count} tracks of {bins} bins were expected")

    options = dict(fs=rate, window="hann", nperseg=window, noverlap=window // 2, detrend=False)
    hann = scipy.signal.get_window("hann", window)  # periodic
    scale = np.full(window // 2 + 1, 2.0) / (rate * np.sum(hann**2))  # csd is a one-sided density
    scale[[0, -1]] /= 2.0
    windows = (length - window) // (window // 2) + 1
    if windows != about["windows"]:
        sys.exit(f"{about['windows']} windows were averaged, scipy averages {windows}")

    rows = {}
    at = 0
    for i in range(count):
        for j in range(i, count):
            rows[i, j] = values[at : at + bins]
            at += bins
    power = [scipy.signal.csd(x, x, **options)[1].real[:bins] / scale[:bins] for x in signals]
    loud = [p > max(p.mean() * 10 ** (FLOOR_DB / 10), 0) for p in power]
    worst = {"cross-spectrum": (0.0, ""), "coherence": (0.0, ""), "coherence in Octave": (0.0, "")}
    octave_pairs = 0
    compared = total = 0
    for (i, j), ours in rows.items():
        used = loud[i] & loud[j]
        compared += np.count_nonzero(used)
        total += bins
        if not used.any():
            continue
        # csd conjugates its first signal, so the second is handed in first.
        theirs = scipy.signal.csd(signals[j], signals[i], **options)[1][:bins] / scale[:bins]
        scaled = np.abs(ours - theirs)[used] / np.sqrt(power[i] * power[j])[used]
        name = f"{about['tracks'][i]['name']} / {about['tracks'][j]['name']}"
        worst["cross-spectrum"] = max(worst["cross-spectrum"], (scaled.max(), name))
        if i != j and (i + j) % 4 == 1:  # a quarter of the pairs: it is the slowest part, and no other code of ours
            theirs = scipy.signal.coherence(signals[i], signals[j], **options)[1][:bins]
            ours = np.abs(ours[used]) ** 2 / (rows[i, i].real * rows[j, j].real)[used]
            difference = np.abs(ours - theirs[used]).max()
            worst["coherence"] = max(worst["coherence"], (difference, name))
            if octave_pairs < OCTAVE_PAIRS:
                octave_pairs += 1
                theirs = octave_coherence(signals[i], signals[j], window, rate)[:bins]
                difference = np.abs(ours - theirs[used]).max()
                worst["coherence in Octave"] = max(worst["coherence in Octave"], (difference, name))
    print(f"{count} tracks, {windows} windows, {100 * compared / total:.1f} % of bins loud enough to compare")
    failed = compared < 0.3 * total or octave_pairs == 0
    for what, (difference, name) in worst.items():
        print(f"{what}: largest difference {difference:.2e} ({name})")
        failed |= not difference < TOLERANCE
    return 1 if failed else 0


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("folder", nargs="?")
    source = parser.add_mutually_exclusive_group(required=True)
    source.add_argument("--tool")
    source.add_argument("--dump")
    arguments = parser.parse_args()
    with tempfile.TemporaryDirectory() as scratch:
        folder, dump = arguments.folder, arguments.dump
        if folder is None:
            folder = os.path.join(scratch, "session")
            os.mkdir(folder)
            make_session(folder)
        if dump is None:
            dump = os.path.join(scratch, "spectra.json")
            subprocess.run([arguments.tool, folder, dump], check=True)
        return compare(folder, dump)


if __name__ == "__main__":
    sys.exit(main())
