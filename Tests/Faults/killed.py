"""The command line is killed at random moments while it writes: each file is the old one or the new one, whole.

What a killed run leaves under hidden names goes with the next run in that folder.

usage: killed.py CLI TIMES [SEED]
"""

import pathlib
import random
import shutil
import subprocess
import sys
import tempfile
import time

from faults import contents, make_recording, write_setting

COMMANDS = {
    "render": "render rec --setting mine.json --to to --sum to/sum.wav --notes to/notes.txt --replace",
    "sums": "sums rec --setting mine.json --to to --replace",
    "measure": "measure rec --threads 1 --no-cache --json to/m.json --save-sources to/sources.json",
    "propose": "propose rec --threads 1 --no-cache --allow flips --json to/p.json --save to/best.json",
}


def wait(cli, words, home):
    subprocess.run([cli, *words.split()], cwd=home, check=True, stdout=subprocess.DEVNULL)


def main():
    cli, times, chance = sys.argv[1], int(sys.argv[2]), random.Random(int(sys.argv[3]) if len(sys.argv) > 3 else 1)
    counts = {"old": 0, "new": 0, "some": 0}
    with tempfile.TemporaryDirectory(prefix="spillwright-killed-") as name:
        home = pathlib.Path(name)
        recording = make_recording(home / "rec", seconds=8.0)
        before = contents(recording)
        write_setting(home / "mine.json")
        to = home / "to"
        for command, words in COMMANDS.items():
            shutil.rmtree(to, ignore_errors=True)
            to.mkdir()
            begin = time.monotonic()
            wait(cli, words, home)
            length = time.monotonic() - begin
            new = contents(to)
            old = {name: b"old " + name.encode() for name in new}
            for _ in range(times // len(COMMANDS)):
                for name, content in old.items():
                    (to / name).write_bytes(content)
                run = subprocess.Popen([cli, *words.split()], cwd=home, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
                time.sleep(chance.uniform(0.4, 1.15) * length)
                run.kill()
                run.wait()
                now = contents(to)
                hidden = [name for name in now if pathlib.Path(name).name.startswith(".")]
                for name in new:
                    assert now.get(name) in (old[name], new[name]), (command, name, "is neither old nor new")
                assert set(now) == set(new) | set(hidden), (command, set(now) - set(new))
                whole = [now[name] == new[name] for name in new]
                counts["new" if all(whole) else "some" if any(whole) else "old"] += 1
            wait(cli, words, home)
            assert contents(to) == new, (command, "what was left is still there", set(contents(to)) - set(new))
            assert contents(recording) == before
    print(f"killed {sum(counts.values())} times: {counts['old']} all old, {counts['new']} all new, {counts['some']} between")
    assert min(counts["old"], counts["new"]) > 0, "the moments did not reach both sides"


if __name__ == "__main__":
    main()
