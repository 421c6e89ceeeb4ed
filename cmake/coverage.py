"""The lines of Source that ran, from what a build with counters left behind: coverage.py BUILD_FOLDER"""

import collections
import itertools
import json
import os
import subprocess
import sys

LONGEST = 60  # characters shown of the first line of a stretch


def line_counts(build, source):
    """File within Source → line → how often it ran. A line of a header or a template counts wherever it was compiled."""
    counted = collections.defaultdict(collections.Counter)
    notes = [os.path.join(folder, name) for folder, _, names in os.walk(build) for name in names if name.endswith(".gcno")]
    for objects in (notes[i : i + 20] for i in range(0, len(notes), 20)):
        said = subprocess.run(["gcov", "--json-format", "--stdout", *objects], check=True, capture_output=True, text=True)
        for unit in map(json.loads, said.stdout.splitlines()):
            for file in unit["files"]:
                path = os.path.relpath(os.path.realpath(os.path.join(unit["current_working_directory"], file["file"])), source)
                if not path.startswith(".."):
                    for line in file["lines"]:
                        counted[path][line["line_number"]] += line["count"]
    return counted


def stretches(lines):
    """The first and the last line of each run of lines that did not run, with none between them that did."""
    for ran, run in itertools.groupby(sorted(lines), key=lambda line: lines[line] > 0):
        if not ran:
            run = list(run)
            yield run[0], run[-1]


def share(files):
    ran = sum(count > 0 for lines in files for count in lines.values())
    of = sum(map(len, files))
    return f"{100 * ran / of:6.1f} % of {of:6d}"


build = os.path.abspath(sys.argv[1])
source = os.path.join(os.path.dirname(os.path.dirname(os.path.abspath(__file__))), "Source")
counted = line_counts(build, source)
rooms = {room: sorted(paths) for room, paths in itertools.groupby(sorted(counted), key=lambda path: path.split(os.sep)[0])}
for room, paths in rooms.items():
    print(f"{share([counted[path] for path in paths])}  {room}")
print(f"{share(list(counted.values()))}  in all\n")
for path in sorted(counted):
    print(f"{share([counted[path]])}  {path}")
print()
for path in sorted(counted):
    text = open(os.path.join(source, path), encoding="utf-8").read().splitlines()
    for first, last in stretches(counted[path]):
        print(f"Source/{path}:{first}-{last}: {text[first - 1].strip()[:LONGEST]}")
