"""Faults of the system, put into a program's calls from outside by strace (its option --inject)."""

import dataclasses
import json
import pathlib
import re
import subprocess

import numpy
import soundfile

RATE = 48000
READS = "read,pread64,readv,preadv,lseek"
WRITES = "write,pwrite64,writev,pwritev,ftruncate"


@dataclasses.dataclass
class Run:
    """What became of one run: exit status, its words, and the calls that were made to fail."""

    status: int
    out: str
    err: str
    failed: list


def run(command, folder, calls=None, error="EIO", which=1, paths=(), seconds=60):
    """Runs a command in a folder; of `calls` (names, comma between) each thread's call number `which` fails with `error`.

    `paths`: only calls on these files count. A run that takes longer than `seconds` is a hang.
    """
    log = folder / "calls.log"
    tamper = ["strace", "-f", "-qq", "--seccomp-bpf", "-o", str(log), "-e", f"trace={calls}", "-e",
              f"inject={calls}:error={error}:when={which}"] if calls else []
    for path in paths:
        tamper += ["-P", str(path)]
    result = subprocess.run([*tamper, *map(str, command)], cwd=folder, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
                            timeout=seconds)
    failed = []
    if tamper:
        failed = [line for line in log.read_text(errors="replace").splitlines() if "(INJECTED)" in line]
        log.unlink()
    words = "".join(line for line in result.stderr.splitlines(keepends=True) if not line.startswith("strace: Requested path"))
    return Run(result.returncode, result.stdout, words, failed)


def make_recording(folder, seconds=3.0, names=("kick.wav", "snare.wav", "room.flac"), seed=1):
    """A small recording: one sound, later and quieter from track to track, with a little noise of each track's own."""
    random = numpy.random.default_rng(seed)
    folder.mkdir()
    count = int(seconds * RATE)
    sound = random.standard_normal(count) * 0.1 * numpy.repeat(random.random(count // 4800 + 1), 4800)[:count]
    for place, name in enumerate(names):
        late = numpy.concatenate([numpy.zeros(40 * place), sound])[:count] * 0.8 ** place
        soundfile.write(folder / name, late + 0.001 * random.standard_normal(count), RATE, subtype="PCM_24")
    return folder


def write_setting(path):
    path.write_text(json.dumps({"format": "spillwright/setting", "version": 1, "name": "mine",
                                "tracks": [{"track": "snare", "flip": True, "nudge_ms": 1.25}]}))
    return path


def contents(folder):
    """Every file below a folder, hidden ones too, with its bytes."""
    return {str(path.relative_to(folder)): path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()}


def told_in_lines(words):
    """Whether the words are lines of the form "WHERE: WHAT; MEND", warnings first and what stopped the run last."""
    return re.fullmatch(r"(spillwright-cli: [^\n]+: [^\n]+\n)+", words) is not None
