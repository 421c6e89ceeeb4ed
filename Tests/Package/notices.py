"""The notices name every source package whose headers are compiled into the programs, that they link, or whose libraries
they open at run time, and no other; every licence that they name is there in words.

usage: notices.py COPYRIGHT BUILD_FOLDER PROGRAM...
"""

import pathlib
import re
import subprocess
import sys


def run(*command):
    return subprocess.run(command, check=True, stdout=subprocess.PIPE, text=True).stdout


def packages_of(paths):
    """The source packages that files of this system belong to."""
    found = subprocess.run(["dpkg-query", "-S", *sorted(paths)], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True)
    names = set()
    for line in found.stdout.splitlines():
        if not line.startswith("diversion "):
            names |= set(line.rsplit(": ", 1)[0].split(", "))
    return set(run("dpkg-query", "-W", "-f", "${source:Package}\n", *sorted(names)).split())


def headers_of(build):
    """Every header that a file of the programs, or of a library of ours that they may link, includes."""
    headers, own = set(), False
    for line in run("ninja", "-C", build, "-t", "deps").splitlines():
        if line and not line.startswith(" "):
            own = line.startswith("Source/") or line.startswith("CMakeFiles/spillwright_juce")
        elif own and line.strip().startswith("/usr/"):
            headers.add(line.strip())
    assert len(headers) > 500, len(headers)
    return headers


def libraries_of(program):
    names = set(re.findall(r"NEEDED\).*\[(.*)\]", run("readelf", "-d", program)))
    assert len(names) > 5, names
    names |= set(re.findall(r"^(lib[\w.+-]+\.so\.\d+)$", run("strings", program), re.MULTILINE))
    cache = dict(re.findall(r"^\s+(\S+) \(.*\) => (\S+)$", run("/sbin/ldconfig", "-p"), re.MULTILINE))
    found = {cache[name] for name in names if name in cache}
    return found | {str(pathlib.Path(path).resolve()) for path in found} | {path.replace("/lib/", "/usr/lib/", 1) for path in found}


def main(copyright_file, build, *programs):
    text = pathlib.Path(copyright_file).read_text(encoding="utf-8")
    named = set(re.findall(r"^Files: linked/(\S+)/\*$", text, re.MULTILINE))
    used = packages_of(headers_of(build))
    for program in programs:
        used |= packages_of(libraries_of(program))
    used.add("libxss")  # asked for at run time, and not to be found on every machine
    assert used == named, f"not named: {sorted(used - named)}; named but not used: {sorted(named - used)}"

    stanzas = [dict(re.findall(r"^(\w+): ?(.*(?:\n .*)*)", stanza, re.MULTILINE)) for stanza in text.strip().split("\n\n")]
    in_words = {stanza["License"].split("\n")[0] for stanza in stanzas if "Files" not in stanza and "License" in stanza}
    for stanza in stanzas:
        if "Files" in stanza:
            assert stanza["Copyright"].strip() and stanza["License"].strip(), stanza
            for name in [stanza["License"]] if stanza["License"] in in_words else stanza["License"].split(" and "):
                assert name in in_words, (stanza["Files"], name)
    for stanza in stanzas:
        if "Files" not in stanza and "License" in stanza:
            assert len(stanza["License"].split("\n")) > 3, stanza
    print(f"{len(used)} source packages, {len(in_words)} licences")


if __name__ == "__main__":
    main(*sys.argv[1:])
