#!/usr/bin/env python3
"""Runs the fuzzer over some or all targets and says what it did.

usage: run.py FUZZER SECONDS [TARGET...]     of each target; its inputs grow in FUZZER's folder, in inputs/TARGET
       run.py FUZZER keep [TARGET...]        copies a small choice of these inputs into Corpus
Exit status 1: something was found; the input lies in FUZZER's folder, in found/TARGET.
"""
import hashlib
import pathlib
import re
import subprocess
import sys
import time

HERE = pathlib.Path(__file__).resolve().parent
SOURCE = HERE.parent.parent
LONGEST = {"audio": 16384, "recording": 16384, "broadcast": 2048, "command": 1024}  # bytes; of the text files:
LONGEST_TEXT = 24576
MEGABYTES, HANG_SECONDS = 1024, 5
KEPT, KEPT_BYTES = 24, 12000  # inputs of a target beside the seeds, and bytes of them
BEYOND = {"lesson": [SOURCE / "Resources/Lessons"], "scene": [SOURCE / "DemoSessions"]}  # more to begin with


def words_of(target):
    """What the fuzzer is told of the language of its inputs."""
    if target in ("audio", "recording", "broadcast"):
        return ["RIFF", "RF64", "BW64", "WAVE", "fmt ", "data", "ds64", "bext", "LIST", "JUNK", "FORM", "AIFF", "AIFC",
                "COMM", "SSND", "sowt", "twos", "NONE", "fl32", "fl64", "fLaC", "ID3", "\\xff\\xff\\xff\\xff",
                "\\xff\\xfe", "\\xff\\xf8", "\\x00\\x00\\x00\\x00", "A=PCM"]
    if target == "command":
        code = (SOURCE / "Source/Cli/CommandLine.cpp").read_text()
        commands = re.findall(r'add_subcommand\("([a-z]+)"', code)
        return commands + re.findall(r'"(--[a-z-]+)"', code) + ["take", "take2", "a", "b", "c", "out", "nan", "inf",
                                                                "-1", "1e999", "set.json", "src.json", "les.json",
                                                                "ses.spillwright", "-", "@", "="]
    text = "".join(p.read_text(errors="replace") for p in sorted((HERE / "Corpus" / target).iterdir()))
    return ['\\"' + w + '\\"' for w in sorted(set(re.findall(r'"([A-Za-z0-9_/ ]{1,40})"', text)))] + [
        "null", "true", "false", "-1", "1e308", "1e999", "-0.0", "18446744073709551616", "[]", "{}"]


def run(fuzzer, target, seconds):
    inputs, found = fuzzer.parent / "inputs" / target, fuzzer.parent / "found" / target
    for folder in (inputs, found):
        folder.mkdir(parents=True, exist_ok=True)
    words = fuzzer.parent / f"{target}.dict"
    words.write_text("".join(f'"{word}"\n' for word in words_of(target)))
    begin = time.monotonic()
    result = subprocess.run(
        [fuzzer, f"--target={target}", f"-max_total_time={seconds}", f"-dict={words}", f"-artifact_prefix={found}/",
         f"-max_len={LONGEST.get(target, LONGEST_TEXT)}", f"-timeout={HANG_SECONDS}", f"-rss_limit_mb={MEGABYTES}",
         "-print_final_stats=1", inputs, HERE / "Corpus" / target, *BEYOND.get(target, [])],
        stderr=subprocess.PIPE, stdout=subprocess.DEVNULL, text=True, errors="replace")

    def last(pattern):
        return (re.findall(pattern, result.stderr) or ["?"])[-1]

    print(f"{target:10} {time.monotonic() - begin:6.0f} s  {last(r'number_of_executed_units: +([0-9]+)'):>9} runs  "
          f"{last(r'cov: ([0-9]+)'):>5} edges  {last(r'corp: ([0-9]+)'):>4} inputs  "
          f"{last(r'peak_rss_mb: +([0-9]+)'):>4} MB", flush=True)
    if result.returncode != 0:
        print(result.stderr[-4000:])
    return result.returncode == 0


def keep(fuzzer, target):
    """Of the inputs that add to what the kept ones reach a few of each size, as far as there is room."""
    corpus, merged = HERE / "Corpus" / target, fuzzer.parent / "merged" / target
    merged.mkdir(parents=True, exist_ok=True)
    subprocess.run([fuzzer, f"--target={target}", "-merge=1", merged, corpus, fuzzer.parent / "inputs" / target],
                   stderr=subprocess.DEVNULL, check=True)
    known = {path.read_bytes() for path in corpus.iterdir()}
    new = sorted((path.read_bytes() for path in merged.iterdir()), key=lambda text: (len(text), text))
    new = [text for text in new if text not in known]
    room = KEPT_BYTES
    for text in new[::max(1, len(new) // KEPT)]:
        room -= len(text)
        if room < 0:
            break
        (corpus / hashlib.sha256(text).hexdigest()[:8]).write_bytes(text)


def main(fuzzer, what, *targets):
    fuzzer = pathlib.Path(fuzzer).resolve()
    targets = targets or sorted(p.name for p in (HERE / "Corpus").iterdir())
    if what == "keep":
        for target in targets:
            keep(fuzzer, target)
        return 0
    return 0 if all([run(fuzzer, target, what) for target in targets]) else 1


if __name__ == "__main__":
    if len(sys.argv) < 3:
        sys.exit(__doc__)
    sys.exit(main(*sys.argv[1:]))
