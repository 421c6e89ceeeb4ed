"""Flips with nudges against scipy's general optimisers: differential evolution and dual annealing, each with a local polish, on
recordings of three to six units. What they maximise is reckoned here from the sound and the definition (summation.py).

usage: best_by_scipy.py CLI DEMO_RECORDING
"""
import itertools
import pathlib
import sys
import tempfile

import numpy as np
from scipy import optimize

from summation import RATE, Spectra, decibels, propose, read_tracks, write_tracks

# Nudges are written to 0.1 us, gains to 0.001 dB, spectra are summed in single precision.
ROUNDING_DB = 0.002
# Nothing better than the proposal by more than this may be found: half a tenth counts as proven, which few problems need.
BETTER_DB = 0.01
SECONDS = 6
LAG_STEP = 2e-6  # seconds


def noise_session(tracks, sources, seed):
    """Every source in every track, at a level, polarity and delay (up to 6 ms) of its own."""
    random = np.random.default_rng(seed)
    length = SECONDS * RATE
    spectra = [np.fft.rfft(random.standard_normal(length)) for _ in range(sources)]
    frequencies = np.fft.rfftfreq(length, 1 / RATE)
    session = {}
    for track in range(tracks):
        mixed = 0.0
        for spectrum in spectra:
            level = random.choice([-1, 1]) * np.exp(random.uniform(-1.5, 0))
            mixed = mixed + level * spectrum * np.exp(-2j * np.pi * frequencies * random.uniform(0, 0.006))
        session["abcdef"[track]] = 0.05 * np.fft.irfft(mixed) + 0.005 * random.standard_normal(length)
    return session


def cut(tracks, *names):
    return {name: tracks[name][4 * RATE : (4 + SECONDS) * RATE] for name in names}


class Problem:
    """The nudges of all units but the first, in milliseconds; the best flips for them are found by trying all."""

    def __init__(self, tracks, spectra, largest_ms):
        self.spectra, self.largest_ms = spectra, largest_ms
        units = []
        for name in tracks:  # the sides of a stereo file move together
            units.append(units.index(name[:-2]) if name[:-2] in units else name[:-2] if name.endswith((" L", " R")) else name)
        names = [unit for unit in units if isinstance(unit, str)]
        self.unit = [names.index(u) if isinstance(u, str) else names.index(units[u]) for u in units]
        self.count = len(names)
        choices = np.array([(1, *rest) for rest in itertools.product((1, -1), repeat=self.count - 1)])
        of_tracks = choices[:, self.unit]
        self.products = of_tracks[:, self.spectra.first] * of_tracks[:, self.spectra.second]
        self.farthest = round(2e-3 * largest_ms / LAG_STEP)
        lags = LAG_STEP * np.arange(-self.farthest, self.farthest + 1)
        self.table = (np.exp(-2j * np.pi * lags[:, None] * self.spectra.frequencies) @ self.spectra.rows.T).real
        self.columns = np.arange(len(self.spectra.first))

    def nudges(self, x):
        x = np.asarray(x)
        whole = np.zeros((*x.shape[:-1], self.count))
        whole[..., 1:] = 1e-3 * x
        return whole[..., self.unit]

    def best_of_flips(self, couplings):
        return 1.0 + 2.0 * (couplings @ self.products.T).max(axis=-1)

    def gain(self, x):
        return self.best_of_flips(self.spectra.couplings(self.nudges(x)))

    def gain_by_table(self, x):
        """The same to 1e-4 dB, a hundred times faster: couplings read between lags 2 us apart."""
        places = self.spectra.lags(self.nudges(x)) / LAG_STEP + self.farthest
        at = np.clip(places.astype(int), 0, 2 * self.farthest - 1)
        left, right = self.table[at, self.columns], self.table[at + 1, self.columns]
        return self.best_of_flips(left + (places - at) * (right - left))

    def best(self, seed):
        """The best of each optimiser, linear: searched in the table, polished on the spectra."""
        bounds = [(-self.largest_ms, self.largest_ms)] * (self.count - 1)

        def loss(x):
            return -self.gain_by_table(x)

        found = {
            "evolution": optimize.differential_evolution(lambda x: loss(x.T), bounds, popsize=20, maxiter=100, seed=seed,
                                                         vectorized=True, updating="deferred", polish=False, tol=1e-6),
            "annealing": optimize.dual_annealing(loss, bounds, maxiter=150, seed=seed, no_local_search=True),
        }
        polish = dict(method="L-BFGS-B", bounds=bounds, options=dict(ftol=1e-13, gtol=1e-9))
        return {by: self.gain(optimize.minimize(lambda x: -self.gain(x), result.x, **polish).x) for by, result in found.items()}


def compare(cli, name, tracks, spectra, largest_ms):
    with tempfile.TemporaryDirectory() as folder:
        write_tracks(folder, tracks)
        first = next(iter(tracks))
        words = ("--reference", first, "--largest-nudge", largest_ms, "--least-worth", 0)
        flips, nudges = propose(cli, pathlib.Path(folder), *words)
    problem = Problem(tracks, spectra, largest_ms)
    setting = {track["track"]: track for track in nudges["setting"]["tracks"]}
    signs = np.array([-1 if setting[track]["flip"] else 1 for track in problem.spectra.names])
    given = np.array([1e-3 * setting[track]["nudge_ms"] for track in problem.spectra.names])
    said, bound = nudges["summationGain_dB"], nudges["upperBound_dB"]
    own = decibels(problem.spectra.gain(signs, given))
    alone = decibels(problem.gain(np.zeros(problem.count - 1)))
    found = {by: decibels(value) for by, value in problem.best(1).items()}
    best = max(found.values())
    print(f"{name}, {problem.count} units, +-{largest_ms} ms: proposed {said:.3f} dB (here {own:.3f}), bound {bound:.3f}; "
          + ", ".join(f"{by} {value:.3f}" for by, value in found.items()) + f"; flips {flips['summationGain_dB']:.3f}, all tried {alone:.3f}",
          flush=True)
    assert np.abs(given).max() <= 1e-3 * largest_ms + 1e-9 and given[0] == 0 and signs[0] == 1
    assert abs(own - said) < ROUNDING_DB, "what is proposed is not worth what is said"
    assert abs(alone - flips["summationGain_dB"]) < ROUNDING_DB, "other flips alone are better, or worth something else"
    assert best < said + BETTER_DB, "a better setting was found"
    assert best < bound + ROUNDING_DB, "the bound is exceeded"
    return best - said


def main(cli, demo):
    played = read_tracks(demo)
    sessions = {
        "noise, 3 sources": noise_session(3, 3, 1),
        "noise, 6 sources": noise_session(6, 6, 3),
        "kick and snare": cut(played, "kick in", "kick out", "snare top", "snare bottom"),
        "reel": cut(played, "accordion left", "clarinet", "fiddle", "ribbon", "bass neck", "kick out"),
        "snare under a pair": cut(played, "snare top", "snare bottom", "hat", "floor tom", "overheads L", "overheads R"),
    }
    short = []
    for name, tracks in sessions.items():
        spectra = Spectra(tracks)
        short += [compare(cli, name, tracks, spectra, largest_ms) for largest_ms in (1, 10)]
    # The comparison means something only where these optimisers come near.
    near = sum(difference > -0.02 for difference in short)
    print(f"{near} of {len(short)} within 0.02 dB of what is proposed")
    assert near >= len(short) - 2


if __name__ == "__main__":
    main(*sys.argv[1:3])
