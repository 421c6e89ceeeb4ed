"""The man pages are clean for mandoc and for man, and each command's section holds each of its options.

usage: man_pages.py FOLDER_OF_PAGES WINDOW CLI
"""

import pathlib
import re
import subprocess
import sys

import said


def main(folder, *programs):
    for program in programs:
        name = pathlib.Path(program).name
        page = pathlib.Path(folder) / f"{name}.1"
        lint = subprocess.run(["mandoc", "-T", "lint", "-W", "warning", page], stdout=subprocess.PIPE, text=True)
        assert lint.returncode == 0 and not lint.stdout, lint.stdout
        warned = subprocess.run(
            ["man", "--warnings", "-E", "UTF-8", "-l", "-Tutf8", "-Z", page], stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE, text=True, env={"LC_ALL": "C.UTF-8", "MANROFFSEQ": "", "MANWIDTH": "80", "PATH": "/usr/bin:/bin"})
        assert warned.returncode == 0 and not warned.stderr, warned.stderr
        text = subprocess.run(["mandoc", "-T", "utf8", page], check=True, stdout=subprocess.PIPE, text=True).stdout
        text = re.sub(".\b", "", text)  # overstruck is bold
        # Each command has its own section, which ends where the next begins.
        sections = re.split(r"^   (?=\S)|^(?=\S)", text, flags=re.MULTILINE)
        for command, options in said.table(program).items():
            begin = f"{name} {command}\n" if command else "OPTIONS"
            own = [section for section in sections if section.startswith(begin)]
            assert len(own) == 1, (command, own)
            found = set(re.findall(r"^ +(?:-\w, )?(--[a-z-]+)", own[0], re.MULTILINE))
            listed = {option for option in options if re.search(rf"^ +{option}\b|, {option}\b", own[0], re.MULTILINE)}
            assert listed == options, (command, options - listed)
            assert found <= options, (command, found - options)
        print(f"{name}: {len(text.splitlines())} lines")


if __name__ == "__main__":
    main(*sys.argv[1:])
