"""Every read, every write, every name and every folder of every command fails once.

Whatever fails: the recording stays as it is; each file of the command is there whole, the old one or the new one, and
nothing else; one line says what is wrong; or all came out as it would have, or with a word on the track that is missing.

usage: failing_disk.py CLI [EVERY]    EVERY: of the reads and writes only each EVERY-th fails (1)
"""

import pathlib
import shutil
import sys
import tempfile

from faults import READS, WRITES, contents, make_recording, told_in_lines, run, write_setting

# The words of each command; "to" holds what stands there before. Those that make all of their files or none: TOGETHER.
COMMANDS = {
    "measure": "measure rec --no-cache --threads 2 --json to/m.json --save-sources to/sources.json",
    "propose": "propose rec --no-cache --threads 2 --json to/p.json --save to/best.json",
    "render": "render rec --setting mine.json --to to --sum to/sum.wav --notes to/notes.txt --replace",
    "sums": "sums rec --setting mine.json --to to --replace",
    "report": "report rec --no-cache --threads 2 --to to/r.html --recall to/r.csv --replace",
    "compare": "compare rec other --no-cache --threads 2 --json to/c.json",
    "lesson": "lesson mine.lesson.json --to to/lesson",
    "manual": "manual --to to/manual",
}
TOGETHER = {"render", "sums", "report", "lesson", "manual"}
# What fails, and with what.
FAULTS = [(READS, "EIO"), (WRITES, "ENOSPC"), ("fsync,fdatasync", "EIO"), ("rename,renameat,renameat2", "EACCES"),
          ("link,linkat", "EPERM"), ("mkdir,mkdirat", "ENOSPC"), ("open,openat", "EMFILE")]
MOST = 2000  # places; more are a sign that this counts something else


class Bench:
    def __init__(self, cli, home):
        self.cli, self.home = cli, home
        self.recording = make_recording(home / "rec")
        self.other = make_recording(home / "other", seed=2)
        write_setting(home / "mine.json")
        run([cli, "lesson", "one delay, one comb", "--to", "page"], home)
        shutil.copy(home / "page" / "lesson.json", home / "mine.lesson.json")
        shutil.rmtree(home / "page")
        self.before = contents(self.recording)

    def lay_out(self, old):
        """The folder as it stands before a run: `old` bytes by name."""
        shutil.rmtree(self.home / "to", ignore_errors=True)
        (self.home / "to").mkdir()
        for name, content in old.items():
            (self.home / "to" / name).parent.mkdir(parents=True, exist_ok=True)
            (self.home / "to" / name).write_bytes(content)

    def run(self, words, **fault):
        return run([self.cli, *words.split()], self.home, **fault)

    def check(self, command, every):
        words = COMMANDS[command]
        self.lay_out({})
        plain = self.run(words)
        assert plain.status == 0, plain
        new = contents(self.home / "to")
        old = {} if command in ("lesson", "manual") else {name: b"old " + name.encode() for name in new}
        count = 0
        for calls, error in FAULTS:
            # Of the reads and openings those of the user's files; before them the program itself is loaded.
            paths = []
            if error in ("EIO", "EMFILE") and calls != "fsync,fdatasync":
                paths = [path for folder in (self.recording, self.other) for path in (folder, *sorted(folder.iterdir()))]
                paths += [self.home / "mine.json", self.home / "mine.lesson.json"]
            for which in range(1, MOST, every if calls in (READS, WRITES) else 1):
                self.lay_out(old)
                result = self.run(words, calls=calls, error=error, which=which, paths=paths)
                if not result.failed:
                    break
                count += 1
                self.judge(command, result, old, new, plain)
            else:
                raise AssertionError(f"{command}: {calls} has no end")
        return count

    def judge(self, command, result, old, new, plain):
        told = (command, result.failed, result.status, result.out[-500:], result.err)
        assert contents(self.recording) == self.before, told
        now = contents(self.home / "to")
        strange = set(now) - set(new)
        assert not strange, ("left behind", strange, told)
        assert result.status in (0, 1), told
        if result.status == 0:
            whole = all(now.get(name) == content for name, content in new.items()) and result.out == plain.out
            spoken = "input/output error" in (result.out + result.err).lower() or "too many open files" in (result.out + result.err).lower()
            assert whole or spoken, ("not told", [name for name in new if now.get(name) != new[name]], told)
        else:
            assert told_in_lines(result.err) or any('write(2' in call for call in result.failed), told
            for name in new:
                assert now.get(name) in (old.get(name), new[name]), ("neither old nor new", name, told)
            if command in TOGETHER and not any("write(1" in call for call in result.failed):
                assert now == old, ("some new, some old", told)


def main():
    cli, every = sys.argv[1], int(sys.argv[2]) if len(sys.argv) > 2 else 1
    with tempfile.TemporaryDirectory(prefix="spillwright-faults-") as name:
        bench = Bench(cli, pathlib.Path(name).resolve())
        for command in COMMANDS:
            print(f"{command}: {bench.check(command, every)} faults", flush=True)


if __name__ == "__main__":
    main()
