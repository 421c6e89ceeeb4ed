"""cmake --install into a folder: nothing falls beside it, twice is as once, the programs find what they read at run time
when the folder was moved, no path of the build is in any file, and the desktop's own tools accept what is for the desktop.

usage: installed.py CMAKE BUILD_FOLDER SOURCE_FOLDER
"""

import gzip
import json
import os
import pathlib
import subprocess
import sys
import tempfile


def run(*command, **options):
    done = subprocess.run(command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, **options)
    assert done.returncode == 0, (command, done.stdout)
    return done.stdout


def files(folder):
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def main(cmake, build, source):
    with tempfile.TemporaryDirectory() as name:
        stage = pathlib.Path(name) / "stage"
        install = [cmake, "--install", build, "--prefix", "/opt/spillwright", "--strip", "--component", "spillwright"]
        run(*install, env={**os.environ, "DESTDIR": str(stage)})
        laid = files(stage)
        run(*install, env={**os.environ, "DESTDIR": str(stage)})
        assert files(stage) == laid
        assert all(path.startswith(("opt/spillwright/bin/", "opt/spillwright/share/")) for path in laid), sorted(laid)
        named = [path for path, content in laid.items() if source.encode() in content or build.encode() in content]
        assert not named, f"these hold a path of the build: {named}"

        moved = pathlib.Path(name) / "moved"
        (stage / "opt/spillwright").rename(moved)
        share = moved / "share"
        cli = moved / "bin/spillwright-cli"
        version = run(cli, "--version").split()[-1]
        assert run(moved / "bin/spillwright", "--version").split()[-1] == version
        # The lessons and scenes are those that were installed, not those of the sources.
        scene = share / "spillwright/DemoSessions/net-loft.json"
        text = json.loads(scene.read_text(encoding="utf-8"))
        text["title"] = "moved away"
        scene.write_text(json.dumps(text), encoding="utf-8")
        assert run(cli, "demo") == "net-loft  moved away\n"
        kept = {path.name for path in (pathlib.Path(source) / "Resources/Lessons").iterdir()}
        lessons = share / "spillwright/Lessons"
        assert {path.name for path in lessons.iterdir()} == kept
        next(lessons.iterdir()).unlink()
        listed = [line for line in run(cli, "lesson").splitlines() if not line.startswith(" ")]
        assert len(listed) == len(kept) - 1 > 10

        run("desktop-file-validate", share / "applications/spillwright.desktop")
        run("appstreamcli", "validate", "--no-net", next((share / "metainfo").iterdir()))
        run("rsvg-convert", share / "icons/hicolor/scalable/apps/spillwright.svg", "-o", f"{name}/icon.png")
        run("update-mime-database", share / "mime")
        (moved / "a.spillwright").write_text('{"format": "spillwright/session"}', encoding="utf-8")
        where = {**os.environ, "XDG_DATA_DIRS": f"{share}:/usr/share", "XDG_DATA_HOME": f"{name}/home"}
        kind = run("gio", "info", "-a", "standard::content-type", moved / "a.spillwright", env=where).split()[-1]
        desktop = (share / "applications/spillwright.desktop").read_text(encoding="utf-8")
        assert kind == "application/x-spillwright-session+json" and f"MimeType={kind};" in desktop, kind
        for page in ("spillwright", "spillwright-cli"):
            assert gzip.decompress((share / f"man/man1/{page}.1.gz").read_bytes()).startswith(b".TH ")
            assert (share / "bash-completion/completions" / page).exists()
            assert (share / "fish/vendor_completions.d" / f"{page}.fish").exists()
            assert (share / "zsh/site-functions" / f"_{page}").exists()
        assert gzip.decompress((share / "doc/spillwright/changelog.gz").read_bytes()).startswith(
            f"spillwright ({version})".encode())
        print(f"{len(laid)} files, {sum(map(len, laid.values())) / 1e6:.1f} MB")


if __name__ == "__main__":
    main(*sys.argv[1:])
