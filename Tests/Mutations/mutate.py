"""Breaks lines of Source/Core and Source/Audition, one at a time, and tells whether the tests notice.

Works on a copy of what is committed, in a folder of its own; lines are drawn by a seed among those that do arithmetic, compare or
decide. A survivor is looked at: either a test is missing, or the line changes nothing that anybody can see (a speed, a margin).

usage: mutate.py FOLDER [--count 20] [--seed 1] [--least 18]    FOLDER: for the copy and its build; it stays, and is used again
"""

import argparse
import pathlib
import random
import re
import subprocess
import sys
import time

ROOMS = ("Core", "Audition")
# Programs whose tests see these rooms; those of the line's own file are run first.
PROGRAMS = {"Core": ("core", "session", "audition"), "Audition": ("audition",)}
CHANGES = [
    (r" \+ ", " - "), (r" - ", " + "), (r" \* ", " / "), (r" / ", " * "), (r" \+= ", " -= "), (r" -= ", " += "),
    (r" <= ", " < "), (r" >= ", " > "), (r" < ", " >= "), (r" > ", " <= "), (r" == ", " != "), (r" != ", " == "),
    (r" && ", " || "), (r" \|\| ", " && "), (r"\bstd::min\b", "std::max"), (r"\bstd::max\b", "std::min"),
    (r"\btrue\b", "false"), (r"\bfalse\b", "true"), (r"\+\+(?=\w)", "--"), (r"\bcontinue;", "break;"),
]
# What shows only as a speed, a message, or in another build is nothing to break; templates and operators that look like comparisons neither.
LEFT_OUT = re.compile(r"assert|static_|#|template|include|^\s*//|^\s*/\*|^\s*\*|for \(|->\*|operator|constexpr|reserve|using ")
SECONDS = 600
# Survivors that were looked at: breaking these lines changes nothing that anybody can see. By file and by how the line begins.
LOOKED_AT = {
    ("WorstOf.cpp", "bool bystander = "): "is set before it is read",
    ("ArrivalEstimator.cpp", "const double here = std::floor("): "blocks are told apart by their numbers; all of them one further on are the same blocks",
    ("Descent.cpp", "const double fitted = "): "how long the next step is, between bounds: it arrives all the same",
}


def strip(line):
    """Without its comment and its texts."""
    return re.sub(r'"[^"]*"', lambda text: '"' + " " * (len(text[0]) - 2) + '"', line.split(" //")[0])


def places(top):
    """Every (file, line number, begin, end, other words) that could be broken."""
    found = []
    for room in ROOMS:
        for file in sorted((top / "Source" / room).rglob("*.cpp")):
            for number, line in enumerate(file.read_text().splitlines()):
                if LEFT_OUT.search(line):
                    continue
                for pattern, other in CHANGES:
                    found += [(file, number, match.start(), match.end(), other) for match in re.finditer(pattern, strip(line))]
    return found


def run(command, top, seconds=SECONDS):
    try:
        result = subprocess.run(command, cwd=top, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, timeout=seconds, errors="replace")
        return result.returncode, result.stdout
    except subprocess.TimeoutExpired:
        return "timeout", ""


def build(top, programs):
    return run(["cmake", "--build", "build", "--target", *(f"spillwright_tests_{program}" for program in programs)], top, 3600)


def noticed(top, file, room):
    """What notices that the file is broken, or None."""
    programs = PROGRAMS[room]
    status, words = build(top, programs)
    if status != 0:
        return "does not compile" if "error:" in words else words[-300:]
    own = [[f"build/Tests/{room}/spillwright_tests_{room.lower()}", "-a", "-#", f"[#{file.stem}Tests]"]]
    for command in own + [[f"build/Tests/{program.capitalize()}/spillwright_tests_{program}", "-a"] for program in programs]:
        status, words = run(["xvfb-run", "-a", *command], top)
        if status != 0:
            failed = re.search(r"-{20,}\n(.+)\n-{20,}\n", words)
            return failed[1] if failed else f"{pathlib.Path(command[0]).name} ends with {status}"
    return None


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("folder", type=pathlib.Path)
    parser.add_argument("--count", type=int, default=20)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--least", type=int, default=18)
    words = parser.parse_args()
    here = pathlib.Path(__file__).resolve().parents[2]
    top = words.folder.resolve()
    if not top.exists():
        subprocess.run(["git", "clone", "-q", here, top], check=True)
    else:
        subprocess.run(["git", "fetch", "-q", "origin"], cwd=top, check=True)
        subprocess.run(["git", "reset", "-q", "--hard", "origin/HEAD"], cwd=top, check=True)
    subprocess.run(["cmake", "-S", ".", "-B", "build", "-G", "Ninja"], cwd=top, check=True, stdout=subprocess.DEVNULL)
    status, output = build(top, ("core", "session", "audition"))
    assert status == 0, output[-2000:]

    chosen = places(top)
    random.Random(words.seed).shuffle(chosen)
    seen, broken, caught, survivors = set(), 0, 0, []
    for file, number, begin, end, other in chosen:
        if broken == words.count:
            break
        whole = file.read_text()
        lines = whole.splitlines(keepends=True)
        line = lines[number]
        if (file, number) in seen or any(file.name == name and line.strip().startswith(begins) for name, begins in LOOKED_AT):
            continue
        seen.add((file, number))
        lines[number] = line[:begin] + other + line[end:]
        file.write_text("".join(lines))
        begun = time.monotonic()
        what = noticed(top, file, file.relative_to(top / "Source").parts[0])
        file.write_text(whole)
        if what == "does not compile":
            continue
        broken += 1
        caught += what is not None
        place = f"{file.relative_to(top)}:{number + 1}"
        print(f"{'noticed ' if what else 'SURVIVES'} {place}: {line.strip()}  ->  {lines[number].strip()}   [{what}] {time.monotonic() - begun:.0f} s", flush=True)
        if not what:
            survivors.append(place)
    print(f"{caught} of {broken} were noticed" + ("; not: " + ", ".join(survivors) if survivors else ""))
    return 0 if caught >= words.least else 1


if __name__ == "__main__":
    sys.exit(main())
