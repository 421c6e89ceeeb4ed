"""The summation gain that a proposal promises is that of the files rendered with its setting, added up by numpy and read by scipy:
with flips, nudges, gains, high-passes, pans, groups and tracks apart.

usage: predicted_is_rendered.py CLI DEMO_RECORDING
"""
import json
import pathlib
import sys
import tempfile

from summation import RATE, decibels, gain_of_sums, power_of, propose, read_tracks, run, write_tracks

LARGEST_DIFFERENCE_DB = 0.02
TRACKS = ("kick in", "kick out", "snare top", "snare bottom", "floor tom", "overheads L", "overheads R", "bass bridge", "bass neck",
          "accordion left", "clarinet", "fiddle", "guitar dub")
START = [  # of the setting that a proposal starts from
    {"track": "kick in", "gain_dB": -6.0, "pan": 0.0},
    {"track": "snare top", "gain_dB": 4.5, "highPass_Hz": 150.0, "highPassSlope_dBPerOctave": 24, "pan": -0.3},
    {"track": "snare bottom", "nudge_ms": 0.4, "pan": 0.2},
    {"track": "overheads L", "highPass_Hz": 240.0, "gain_dB": 2.0},
    {"track": "overheads R", "highPass_Hz": 240.0, "gain_dB": 2.0, "pan": 0.6},
    {"track": "bass neck", "flip": True, "gain_dB": 3.0, "highPass_Hz": 60.0, "highPassSlope_dBPerOctave": 18, "pan": -0.8},
    {"track": "clarinet", "gain_dB": 5.0, "pan": 1.0},
    {"track": "accordion left", "pan": -1.0},
    {"track": "kick out", "muted": True},
]


def rendered_gain(cli, recording, setting, stereo, scratch):
    (scratch / "setting.json").write_text(json.dumps(setting))
    run(cli, "render", recording, "--setting", scratch / "setting.json", "--to", scratch / "rendered", "--sum", scratch / "sum.wav",
        "--bits", "32f", "--replace")
    muted = {track["track"] for track in setting["tracks"] if track["muted"]}
    tracks = [samples for name, samples in read_tracks(scratch / "rendered").items() if name not in muted]
    if not stereo:
        return gain_of_sums([sum(tracks)], power_of(tracks))
    # Constant power: left and right of a track alone have its power together, wherever it stands.
    sides = read_tracks(scratch)
    return gain_of_sums([sides["sum L"], sides["sum R"]], power_of(tracks))


def main(cli, demo):
    played = read_tracks(demo)
    with tempfile.TemporaryDirectory() as name:
        scratch = pathlib.Path(name)
        recording = scratch / "recording"
        recording.mkdir()
        write_tracks(recording, {track: played[track][4 * RATE : 16 * RATE] for track in TRACKS})
        start = scratch / "start.json"
        start.write_text(json.dumps({"format": "spillwright/setting", "version": 1, "name": "start", "tracks": START}))
        from_start = ("--setting", start)
        cases = {
            "flips": ("--allow", "flips"),
            "nudges up to 1 ms": ("--allow", "nudges", "--largest-nudge", 1),
            "nudges up to 10 ms": ("--allow", "nudges"),
            "flips, gains, high-passes, a mute": ("--allow", "flips", *from_start),
            "nudges, gains, high-passes, a mute": ("--allow", "nudges", "--largest-nudge", 3, *from_start),
            "flips in stereo": ("--allow", "flips", "--stereo", *from_start),
            "nudges in stereo": ("--allow", "nudges", "--largest-nudge", 3, "--stereo", *from_start),
            "a group in an even balance": ("--allow", "nudges", "--largest-nudge", 3, "--even-balance", "--group",
                                           "snare top,snare bottom,overheads L"),
            "a stereo file apart": ("--allow", "nudges", "--largest-nudge", 3, "--unlink", "--reference", "fiddle"),
        }
        for what, words in cases.items():
            proposal = propose(cli, recording, "--time", 1, "--least-worth", 0, *words)[0]
            said = proposal["summationGain_dB"]
            heard = decibels(rendered_gain(cli, recording, proposal["setting"], "--stereo" in words, scratch))
            print(f"{what}: said {said:.3f} dB, rendered {heard:.3f} dB", flush=True)
            assert any(track["flip"] or track["nudge_ms"] for track in proposal["setting"]["tracks"]), what
            assert abs(said - heard) < LARGEST_DIFFERENCE_DB, what


if __name__ == "__main__":
    main(*sys.argv[1:3])
