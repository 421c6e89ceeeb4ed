"""What README and manual say is so: their command lines are executed on the demo, their options are those that the program has, their
figures those that it finds; and the manual's pages are HTML whose links and pictures are there.

usage: documents.py SOURCE_FOLDER CLI RECORDING
"""

import json
import pathlib
import re
import shlex
import subprocess
import sys
import tempfile

import html5lib

XHTML = "{http://www.w3.org/1999/xhtml}"
# Of other programs that the documents name.
OTHER_OPTIONS = {"--help", "--check", "--build", "--install", "--prefix", "--component"}


def run_commands(documents, cli, recording, folder):
    (folder / "build/demo").mkdir(parents=True)
    (folder / "build/spillwright-cli").symlink_to(cli)
    ran = 0
    for text in documents.values():
        for path in set(re.findall(r"build/demo/[a-z-]+", text)):
            if not (folder / path).exists():
                (folder / path).symlink_to(recording)
        for command in re.findall(r"^ *(build/spillwright-cli .*)$", text, re.MULTILINE):
            print(command, flush=True)
            subprocess.run(shlex.split(command, comments=True), cwd=folder, check=True, stdout=subprocess.DEVNULL)
            ran += 1
    assert ran >= 8, ran
    assert (folder / "sum.wav").stat().st_size > 1_000_000
    assert (folder / "report.html").stat().st_size > 100_000
    assert len((folder / "recall.csv").read_text(encoding="utf-8").splitlines()) > 10
    assert len(list((folder / "rendered").iterdir())) == len(list(pathlib.Path(recording).glob("*.wav")))
    subprocess.run(["sha256sum", "--check", "--quiet", "notes.txt"], cwd=folder, check=True)


def check_options(documents, cli):
    """The usage that the manual prints names every command and option that the program has, and no other."""
    overview = subprocess.run([cli, "--help"], check=True, stdout=subprocess.PIPE, text=True).stdout
    commands = re.findall(r"^  ([a-z]+) ", overview[overview.index("Subcommands:") :], re.MULTILINE)
    assert len(commands) >= 9, commands
    offered = {"--version"}
    for command in commands:
        help_text = subprocess.run([cli, command, "--help"], check=True, stdout=subprocess.PIPE, text=True).stdout
        offered |= set(re.findall(r"--[a-z-]+", help_text))
    usage = next(block for block in re.findall(r"```\n(.*?)```", documents["10-command-line"], re.DOTALL) if "measure FOLDER" in block)
    assert set(re.findall(r"^spillwright-cli ([a-z]+)", usage, re.MULTILINE)) == set(commands)
    said = set(re.findall(r"--[a-z-]+", usage))
    assert said == offered - {"--help", "--version"}, said ^ offered
    for name, text in documents.items():
        named = set(re.findall(r"(?<![\w-])--[a-z][a-z-]*", re.sub(r"<!--.*?-->", "", text))) - offered - OTHER_OPTIONS
        assert not named, f"{name} names options that do not exist: {named}"


def check_pages(cli, folder):
    subprocess.run([cli, "manual", "--to", folder], check=True)
    pages = {page.name: page.read_text(encoding="utf-8") for page in folder.glob("*.html")}
    used = {"index.html"}
    for name, text in pages.items():
        root = html5lib.HTMLParser(tree=html5lib.getTreeBuilder("etree"), strict=True).parse(text)  # raises the first error
        assert root.get("lang") == "en"
        assert len(list(root.iter(XHTML + "h1"))) == 1, name
        assert not list(root.iter(XHTML + "script")) and "@import" not in text and "http" not in text, name
        for element in root.iter():
            if element.tag == XHTML + "img":
                assert element.get("alt"), (name, element.get("src"))
            for attribute in ("href", "src"):
                if (target := element.get(attribute)) is not None:
                    assert (folder / target).is_file(), f"{name} leads to {target}, which is not there"
                    used.add(target)
    assert used == {file.name for file in folder.iterdir()}, "nothing leads to " + str(used ^ {f.name for f in folder.iterdir()})


def amount(value, places=1):
    return f"{value:.{places}f}".replace("-", "\N{MINUS SIGN}")


def found_by_program(cli, recording, folder):
    """chapter: the figures that it tells, as the program finds them."""

    def result(*words):
        file = folder / "result.json"
        subprocess.run([cli, *words, "--json", file], check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        return json.loads(file.read_text(encoding="utf-8"))

    measured = result("measure", recording)
    proposed = result("propose", recording)
    two = result("compare", recording, "--microphone", "kick in", "--microphone", "kick out")

    def pair(of, first, second):
        return next(p for p in of["pairs"] if (p["first"], p["second"]) == (first, second))

    def heard(source, track):
        return next(s for s in measured["spill"] if (s["source"], s["track"]) == (source, track))

    def helper(source, track):
        microphones = next(r for r in measured["rescue"] if r["source"] == source)["microphones"]
        return next(m for m in microphones if m["track"] == track)

    def spill(track):
        return next(t for t in measured["tracks"] if t["name"] == track)["spillShare"]

    snare = pair(measured, "snare top", "snare bottom")
    bass = pair(measured, "bass bridge", "bass neck")
    assert snare["polarity"] == bass["polarity"] == -1
    notch = pair(two, "snare top", "snare bottom")["inTakes"][0]
    flips, nudges = (next(p for p in proposed["proposals"] if p["allow"] == allow) for allow in ("flips", "nudges"))
    worth = {change["track"]: change["worth_dB"] for change in flips["why"]}
    assert flips["proven"] and set(worth) == {"snare bottom", "bass bridge", "kick out", "ribbon"}
    upside = {w.split(":")[0]: re.search(r"(\d+) of (\d+) tracks", w).groups() for w in measured["warnings"] if "upside down" in w}
    assert set(upside) == {"floor tom", "bass neck", "fiddle"}
    order = [entry["track"] for entry in measured["orderOfEntry"]]
    assert order[:3] == ["kick out", "overheads L", "overheads R"] and order[-1] == "guitar dub"
    assert measured["unsureCloseTracks"] == ["kick out", "bass neck"]
    assert all(not p["related"] for p in measured["pairs"] if p["second"] == "guitar dub")
    below, over = helper("snare", "snare bottom"), helper("snare", "overheads L")
    assert below["flip"] and not over["flip"]
    difference = two["differences"][0]
    softer = re.search(r"([\d.]+) dB softer", "; ".join(difference["verdict"])).group(1)
    shares = re.search(r"(\d+) % spill against (\d+) %", "; ".join(difference["verdict"])).groups()
    units = len(measured["tracks"]) - sum(t["linkedTo"] is not None for t in measured["tracks"]) // 2
    return {
        "01-starting": [f"{len(measured['tracks'])} tracks of {measured['to_s']:.0f} s"],
        "02-every-track": [amount(heard("snare", "overheads L")["level_dB"]) + " dB",
                           amount(heard("snare", "overheads L")["arrival_ms"], 2) + " ms"],
        "03-polarity-and-offset": [amount(snare["arrival_ms"], 2) + " ms", amount(snare["summationGain_dB"]) + " dB",
                                   "+" + amount(snare["summationGainFlipped_dB"]) + " dB", amount(notch["deepest_dB"], 0) + " dB",
                                   f"at {notch['notch_Hz']:.0f} Hz", f"coherence {amount(bass['coherence'], 2)}",
                                   amount(bass["summationGain_dB"]) + " dB", "+" + amount(bass["summationGainFlipped_dB"]) + " dB",
                                   "{} of {} tracks".format(*upside["bass neck"])],
        "04-proposals": [f"{2 ** (units - 1):,} ways", amount(proposed["asRecorded"]["summationGain_dB"]) + " dB",
                         f"+{amount(flips['summationGain_dB'])} dB with {len(worth)} flips", f"+{amount(nudges['summationGain_dB'])} dB",
                         f"{amount(nudges['gap_dB'], 2)} dB", f"{amount(nudges['gap_dB'], 2)} below bound",
                         amount(worth["snare bottom"], 2) + " dB", amount(worth["ribbon"], 2) + " dB"],
        "05-order": [f"{100 * spill('snare top'):.0f} %", amount(heard("rack tom", "kick in")["level_dB"]) + " dB"],
        "06-help": [amount(below["level_dB"]) + " dB", amount(-below["gain_dB"]) + " dB", amount(below["nudge_ms"], 2) + " ms",
                    amount(below["gainLinedUp_dB"]) + " dB", amount(over["level_dB"]) + " dB", amount(over["gain_dB"]) + " dB",
                    amount(over["gainLinedUp_dB"]) + " dB", amount(over["nudge_ms"], 2) + " ms", softer + " dB softer", shares[0] + " %",
                    shares[1] + " %", amount(pair(measured, "kick in", "kick out")["arrival_ms"], 2) + " ms"],
    }


# What these chapters tell besides: fixed by the program or by nature, and said elsewhere too.
CONSTANTS = {"03-polarity-and-offset": ["0.1 ms", "0.5 ms", "3.2 ms"], "04-proposals": ["0.05 dB", "0.1 dB", "0 dB"], "05-order": ["9.5 dB"]}


def check_figures(documents, found):
    for chapter, figures in found.items():
        text = re.sub(r"\s+", " ", documents[chapter].replace("*", ""))
        for figure in figures:
            assert re.search(r"(?<![\d.])" + re.escape(figure), text), f"{chapter} does not say {figure}, which the program finds"
        if chapter == "01-starting":  # tells of listening, not of the demo
            continue
        measure = r"[+\N{MINUS SIGN}]?\d+(?:\.\d+)? (?:dB|ms)\b"
        known = re.findall(measure, " ".join(figures + CONSTANTS.get(chapter, [])))
        for figure in re.findall(measure, text):
            if figure.endswith("ms") and "to " + figure in text:  # a card's name
                continue
            assert figure in known, f"{chapter} says {figure}, which nothing finds"


def main(source, cli, recording):
    source = pathlib.Path(source)
    cli = pathlib.Path(cli).resolve()
    manual = sorted((source / "Resources/Manual").glob("*.md"))
    documents = {path.stem: path.read_text(encoding="utf-8") for path in [source / "README.md", *manual]}
    assert len(documents) > 10
    with tempfile.TemporaryDirectory() as name:
        folder = pathlib.Path(name)
        check_options(documents, cli)
        check_pages(cli, folder / "pages")
        check_figures(documents, found_by_program(cli, pathlib.Path(recording).resolve(), folder))
        run_commands(documents, cli, pathlib.Path(recording).resolve(), folder)


if __name__ == "__main__":
    main(*sys.argv[1:4])
