"""Seconds that numpy and scipy need for what one pass of measuring does, on a folder of 24-bit mono WAV files.

    csd_pairs.py FOLDER THREADS PAIRS

Prints two numbers. Pair by pair: scipy.signal.csd of a pair and of each of its tracks (as scipy.signal.coherence does),
coherence, correlation peak; timed over PAIRS pairs spread over the recording and extrapolated to all. Vectorised: all
transforms by scipy.fft in single precision, one matrix product a frequency, all pairs' peaks by padded inverse
transforms.
"""

import pathlib
import sys
import time

import numpy as np
import scipy.fft
import scipy.signal

WINDOW = 16384
HOP = WINDOW // 2
PADDED = 4 * WINDOW
FRAMES = 64


def samples_of(path):
    raw = np.memmap(path, np.uint8, "r", offset=44).reshape(-1, 3)
    padded = np.zeros((len(raw), 4), np.uint8)
    padded[:, 1:] = raw
    return (padded.view("<i4")[:, 0] * np.float32(2.0**-31)).astype(np.float32)


def pair_by_pair(tracks, pairs):
    count = len(tracks)
    every = [(i, j) for i in range(count) for j in range(i + 1, count)]
    chosen = every[:: max(1, len(every) // pairs)][:pairs]
    options = dict(window="hann", nperseg=WINDOW, noverlap=HOP, detrend=False)
    begin = time.perf_counter()
    for i, j in chosen:
        cross = scipy.signal.csd(tracks[i], tracks[j], **options)[1]
        own = [scipy.signal.csd(tracks[k], tracks[k], **options)[1].real for k in (i, j)]
        np.mean(np.abs(cross) ** 2 / (own[0] * own[1]))
        np.argmax(np.abs(np.fft.irfft(cross / np.abs(cross), PADDED)))
    return (time.perf_counter() - begin) / len(chosen) * len(every)


def vectorised(files, threads):
    begin = time.perf_counter()
    tracks = np.stack([samples_of(file) for file in files])
    hann = scipy.signal.windows.hann(WINDOW, sym=False).astype(np.float32)
    frames = np.lib.stride_tricks.sliding_window_view(tracks, WINDOW, axis=1)[:, ::HOP]
    count = len(files)
    sums = np.zeros((HOP + 1, count, count), np.complex64)
    for first in range(0, frames.shape[1], FRAMES):
        spectra = scipy.fft.rfft(frames[:, first : first + FRAMES] * hann, axis=2, workers=threads)
        by_bin = np.ascontiguousarray(spectra.transpose(2, 0, 1))
        sums += by_bin @ by_bin.conj().transpose(0, 2, 1)
    own = np.einsum("fii->if", sums).real
    for i in range(count - 1):
        cross = sums[:, i, i + 1 :].T
        size = np.abs(cross)
        np.mean(size**2 / (own[i] * own[i + 1 :]), axis=1)
        np.argmax(np.abs(scipy.fft.irfft(cross / size, PADDED, axis=1, workers=threads)), axis=1)
    return time.perf_counter() - begin


def main():
    files = sorted(pathlib.Path(sys.argv[1]).glob("*.wav"))
    threads = int(sys.argv[2])
    tracks = [samples_of(file) for file in files]
    by_pair = pair_by_pair(tracks, int(sys.argv[3]))
    del tracks
    print(by_pair, min(vectorised(files, threads) for _ in range(2)))


main()
