"""The summation gain, written down anew from its definition: third octave by third octave the power of the sum over the sum of the
powers, each third octave weighing by its width within the band. Nothing here is read from the program but names of tracks."""
import json
import pathlib
import re
import subprocess
import warnings

import numpy as np
import scipy.signal
from scipy.io import wavfile

WINDOW = 16384  # at 48 kHz
RATE = 48000
BAND_HZ = (10**2.25, 10**2.75)  # third octaves 200 to 500 Hz, IEC 61260-1


def read_tracks(folder):
    """Samples by track name; the sides of a stereo file end in L and R, leading numbers are not part of the name."""
    tracks = {}
    for path in sorted(pathlib.Path(folder).glob("*.wav")):
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # chunks that wavfile does not know
            rate, samples = wavfile.read(path)
        assert rate == RATE, path
        full = {"int16": 2.0**15, "int32": 2.0**31, "float32": 1.0}[samples.dtype.name]  # 24-bit comes shifted up
        name = re.sub(r"^\d+ ", "", path.stem)
        sides = {name: samples} if samples.ndim == 1 else {f"{name} {side}": samples[:, k] for k, side in enumerate("LR")}
        tracks.update({side: data.astype(np.float64) / full for side, data in sides.items()})
    return tracks


def write_tracks(folder, tracks):
    """As 32-bit float; a name that ends in L is written together with its R."""
    for name, samples in tracks.items():
        if name.endswith(" R"):
            continue
        pair = name.endswith(" L")
        data = np.stack([samples, tracks[name[:-1] + "R"]], axis=1) if pair else samples
        wavfile.write(pathlib.Path(folder) / f"{name[:-2] if pair else name}.wav", RATE, data.astype(np.float32))


def third_octaves(band=BAND_HZ):
    """(low, high, share of the band's octaves) of each third octave, cut to the band."""
    parts = []
    for k in range(0, 50):
        low, high = (10 ** ((k + side) / 10) for side in (-0.5, 0.5))
        low, high = max(low, band[0]), min(high, band[1])
        if high > low * (1 + 1e-9):
            parts.append((low, high, np.log(high / low) / np.log(band[1] / band[0])))
    return parts


def bins_of(frequencies, band=BAND_HZ):
    """The bins of each third octave: the lower edge belongs to it, the upper only for the last."""
    parts = third_octaves(band)
    for index, (low, high, share) in enumerate(parts):
        last = index == len(parts) - 1
        yield (frequencies >= low) & ((frequencies <= high) if last else (frequencies < high)), share


def welch(samples, other=None):
    options = dict(fs=RATE, window="hann", nperseg=WINDOW, noverlap=WINDOW // 2, detrend=False)
    if other is None:
        return scipy.signal.welch(samples, **options)
    return scipy.signal.csd(other, samples, **options)  # it conjugates its first


def power_of(signals):
    """(frequencies, the sum of their power spectra)."""
    spectra = [welch(samples) for samples in signals]
    return spectra[0][0], sum(power for _, power in spectra)


def gain_of_sums(sums, alone, band=BAND_HZ):
    """G of signals that were really added up (several: their powers add), against power_of the tracks they hold."""
    frequencies, power = power_of(sums)
    return sum(share * power[bins].sum() / alone[1][bins].sum() for bins, share in bins_of(frequencies, band))


class Spectra:
    """Cross-spectra of tracks in the band, each third octave divided by its sum of powers and weighed: G is their sum."""

    def __init__(self, tracks, band=BAND_HZ):
        self.names = list(tracks)
        count = len(self.names)
        self.first, self.second = np.triu_indices(count, 1)
        frequencies, powers = welch(tracks[self.names[0]])[0], [welch(tracks[name])[1] for name in self.names]
        weight = np.zeros(len(frequencies))
        for bins, share in bins_of(frequencies, band):
            weight[bins] = share / sum(power[bins].sum() for power in powers)
        used = weight > 0
        self.frequencies = frequencies[used]
        self.rows = np.array([weight[used] * welch(tracks[self.names[i]], tracks[self.names[j]])[1][used]
                              for i, j in zip(self.first, self.second)])

    def lags(self, nudges):
        return nudges[..., self.first] - nudges[..., self.second]

    def couplings(self, nudges):
        """Re S_ij exp(-j 2 pi f (nudge_i - nudge_j)) over the bins; nudges in seconds, shape (..., tracks)."""
        phases = np.exp(-2j * np.pi * self.lags(nudges)[..., None] * self.frequencies)
        return np.einsum("...pf,pf->...p", phases, self.rows).real

    def gain(self, signs, nudges):
        return 1.0 + 2.0 * self.couplings(nudges) @ (signs[self.first] * signs[self.second])


def decibels(power):
    return 10 * np.log10(power)


def run(cli, *words):
    """What a command prints; its own faults end the test."""
    done = subprocess.run([str(word) for word in (cli, *words)], check=True, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL)
    return done.stdout


def propose(cli, folder, *words):
    return json.loads(run(cli, "propose", folder, "--no-cache", "--json", "-", *words))["proposals"]
