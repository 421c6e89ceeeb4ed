"""The report as others read it: an HTML parser, an SVG renderer, a spreadsheet program.

usage: report_page.py CLI RECORDING
"""

import csv
import hashlib
import pathlib
import re
import subprocess
import sys
import tempfile
import wave

import html5lib
import numpy

SVG = "{http://www.w3.org/2000/svg}"
XHTML = "{http://www.w3.org/1999/xhtml}"


def odd_names(folder):
    """Three tracks of one noise under names that want to be markup, formulas and several cells."""
    random = numpy.random.default_rng(5)
    common = random.standard_normal(5 * 48000)
    names = ['=1+1, "a" <b>', "-2 & 'c'", "<script>alert(1)</script>", "\u202egnp.exe", "@a;=2+3", "+4\x1b[31m\tb\nc",
             "\uff1d1+1"]
    for place, name in enumerate(names):
        sound = 0.1 * (-1) ** place * common + 0.02 * random.standard_normal(len(common))
        file = folder / f"0{place + 1} {name.replace('/', '-')}.wav"
        with wave.open(str(file), "wb") as out:
            out.setparams((1, 2, 48000, 0, "NONE", ""))
            out.writeframes((numpy.clip(sound, -1, 1) * 32767).astype("<i2").tobytes())


def check_page(page):
    text = page.read_text(encoding="utf-8")
    parser = html5lib.HTMLParser(tree=html5lib.getTreeBuilder("etree"), strict=True)
    root = parser.parse(text)  # strict: the first error of the HTML standard's parser is raised
    assert root.get("lang") == "en"
    assert not list(root.iter(XHTML + "script"))
    for element in root.iter():  # nothing turns the direction of what follows, no attribute became a handler
        assert not re.search("[\u202a-\u202e\u2066-\u2069]", (element.text or "") + (element.tail or ""))
        assert not [name for name in element.attrib if str(name).startswith("on")]
    for element in root.iter():
        for name in ("src", "srcset", "data", "poster", "background"):
            assert element.get(name) is None, (element.tag, name)
        if element.get("href") is not None:
            assert element.get("href").startswith("#"), element.get("href")
    assert "@import" not in text
    assert "url(http" not in text
    ids = [element.get("id") for element in root.iter() if element.get("id")]
    assert len(ids) == len(set(ids))
    # Each drawing says what it is, its words are text, and it is not blank.
    drawings = list(root.iter(SVG + "svg"))
    for drawing in drawings:
        title, said = drawing.find(SVG + "title"), drawing.find(SVG + "desc")
        assert title.text and said.text
        assert drawing.get("aria-labelledby").split() == [title.get("id"), said.get("id")]
        assert list(drawing.iter(SVG + "text"))
    sources = re.findall(r"<svg .*?</svg>", text, re.DOTALL)
    assert len(sources) == len(drawings)
    for source in sources:
        made = subprocess.run(["rsvg-convert", "--format", "png", "--background-color", "white"], check=True,
                              input=source.encode(), stdout=subprocess.PIPE).stdout
        pixels = subprocess.run(["convert", "png:-", "-depth", "8", "gray:-"], check=True, input=made,
                                stdout=subprocess.PIPE).stdout
        shades = numpy.bincount(numpy.frombuffer(pixels, dtype=numpy.uint8), minlength=256)
        assert (shades > 0).sum() >= 8, "blank"
        assert shades[:128].sum() >= 100, "no ink"
    return root, len(drawings)


def as_spreadsheet(sheet):
    """What a spreadsheet program makes of the sheet, and the sheet itself."""
    with open(sheet, encoding="utf-8", newline="") as file:
        rows = list(csv.reader(file))
    text = subprocess.run(["ssconvert", "--import-type=Gnumeric_stf:stf_csvtab", "--export-type=Gnumeric_stf:stf_csv",
                           str(sheet), "fd://1"], check=True, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL).stdout
    return rows, list(csv.reader(text.decode("utf-8").splitlines()))


def main(cli, recording):
    with tempfile.TemporaryDirectory() as name:
        folder = pathlib.Path(name)
        for source in (pathlib.Path(recording), folder / "odd names"):
            if not source.exists():
                source.mkdir()
                odd_names(source)
            before = {file: hashlib.sha256(file.read_bytes()).hexdigest() for file in source.iterdir() if file.is_file()}
            page, sheet = folder / "report.html", folder / "recall.csv"
            subprocess.run([cli, "report", str(source), "--to", str(page), "--recall", str(sheet), "--no-cache",
                            "--replace"],
                           check=True, stdout=subprocess.DEVNULL)
            assert before == {file: hashlib.sha256(file.read_bytes()).hexdigest() for file in before}
            root, drawings = check_page(page)
            rows, read = as_spreadsheet(sheet)
            assert all(len(row) == len(rows[0]) for row in rows), rows
            assert len(read) == len(rows)
            for wanted, got in zip(rows[1:], read[1:]):
                # A spreadsheet shows no formula's value (the apostrophe says that it is text), and numbers as numbers.
                assert got[:2] == [cell.removeprefix("'") for cell in wanted[:2]], (got, wanted)
                assert not wanted[0].startswith(("=", "+", "-", "@", "\uff1d"))
                assert wanted[0].isprintable(), wanted
                assert [float(cell) for cell in got[4:8]] == [float(cell) for cell in wanted[4:8]]
            # What the remarks ask for and the setting does not do is told.
            for line in root.iter(XHTML + "li"):
                words = "".join(line.itertext())
                assert "upside down, say" not in words or "The setting taken, " in words, words
            print(f"{source.name}: {drawings} drawings, {page.stat().st_size} bytes, {len(rows) - 1} tracks")
            first = page.read_bytes()
            subprocess.run([cli, "report", str(source), "--to", str(page), "--threads", "1", "--no-cache", "--replace"],
                           check=True, stdout=subprocess.DEVNULL)
            assert page.read_bytes() == first
        words = "".join(root.itertext())
        assert "<script>alert(1)<-script>" in words  # as it is called, and no element


if __name__ == "__main__":
    main(*sys.argv[1:3])
