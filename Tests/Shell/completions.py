"""bash, zsh and fish offer every command and option, the values there are, and files or folders where a path is meant.

usage: completions.py FOLDER_OF_COMPLETIONS WINDOW CLI
"""

import os
import pathlib
import pty
import re
import select
import shlex
import subprocess
import sys
import tempfile
import time

import said


class Bash:
    def __init__(self, folder, names, path):
        self.folder, self.names, self.path = folder, names, path

    def offers(self, cases, here):
        script = "".join(f"source {shlex.quote(str(self.folder / name))}.bash\n" for name in self.names)
        for words in cases:
            quoted = " ".join(shlex.quote(word) for word in words)
            script += (
                f"COMP_WORDS=({quoted}); COMP_CWORD={len(words) - 1}\n"
                f"function=$(complete -p {words[0]}); function=${{function#* -F }}; ${{function%% *}}\n"
                'printf "%s\\n" "${COMPREPLY[@]}" --end\n'
            )
        shell = subprocess.run(["bash", "--norc", "-u"], input=script, cwd=here, check=True, stdout=subprocess.PIPE,
                               stderr=subprocess.PIPE, text=True, env={"PATH": self.path})
        assert not shell.stderr, shell.stderr
        answers = shell.stdout.split("--end\n")[:-1]
        return [{line.replace("\\", "") for line in answer.splitlines()} for answer in answers]


class Fish:
    def __init__(self, folder, names, path):
        self.folder, self.names, self.path = folder, names, path

    def offers(self, cases, here):
        script = "".join(f"source {shlex.quote(str(self.folder / name))}.fish\n" for name in self.names)
        for words in cases:
            script += f"complete -C {shlex.quote(' '.join(words))}; echo -- --end\n"
        with tempfile.TemporaryDirectory() as home:
            shell = subprocess.run(["fish", "--no-config", "-c", script], cwd=here, check=True, stdout=subprocess.PIPE,
                                   stderr=subprocess.PIPE, text=True, env={"PATH": self.path, "HOME": home, "TERM": "dumb"})
        assert not shell.stderr, shell.stderr
        answers = shell.stdout.split("--end\n")[:-1]
        return [{line.split("\t")[0].rstrip("/").replace("\\", "") for line in answer.splitlines()} for answer in answers]


class Zsh:
    """An interactive zsh on a terminal; what its completion would insert is written down in place of inserting it."""

    def __init__(self, folder, names, path):
        self.folder, self.names, self.path = folder, names, path

    def offers(self, cases, here):
        with tempfile.TemporaryDirectory() as home:
            out = pathlib.Path(home) / "offers"
            (pathlib.Path(home) / ".zshrc").write_text(
                f"fpath=({shlex.quote(str(self.folder))} $fpath)\nPS1=; unsetopt zle_bracketed_paste\n"
                "autoload -U compinit; compinit -u -D\n"
                # compadd as it is, but what matches is also written down
                "compadd() {\n"
                "    local -a _found; builtin compadd -O _found \"$@\"\n"
                f"    print -rl -- $_found >>{shlex.quote(str(out))}\n"
                "    builtin compadd \"$@\"\n}\n"
                f"offered() {{ zle list-choices; print -r -- --end >>{shlex.quote(str(out))} }}\n"
                "zle -N offered; bindkey '^O' offered; zstyle ':completion:*' verbose no\n")
            main, child = pty.openpty()
            shell = subprocess.Popen(["zsh", "-i"], cwd=here, stdin=child, stdout=child, stderr=child, close_fds=True,
                                     env={"PATH": self.path, "HOME": home, "ZDOTDIR": home, "TERM": "dumb", "LC_ALL": "C.UTF-8"})
            os.close(child)
            for count, words in enumerate(cases):
                os.write(main, (" ".join(words) + "\x0f").encode())
                begin = time.monotonic()
                while not out.exists() or out.read_text().count("--end\n") <= count:
                    assert time.monotonic() < begin + 20, ("zsh does not answer", words)
                    if select.select([main], [], [], 0.005)[0]:
                        os.read(main, 65536)
                os.write(main, b"\x15")  # the line away
            os.write(main, b"exit\r")
            shell.wait(timeout=20)
            os.close(main)
            answers = out.read_text().split("--end\n")[:-1]
        return [{re.sub(r"[\\=]", "", line) for line in answer.splitlines() if line} for answer in answers]


def main(folder, *programs):
    folder = pathlib.Path(folder)
    names = [pathlib.Path(program).name for program in programs]
    path = os.pathsep.join([str(pathlib.Path(programs[0]).parent), "/usr/bin", "/bin"])
    cases, wanted = [], []

    def expect(words, offered):
        cases.append(words)
        wanted.append(set(offered))

    for name, program in zip(names, programs):
        table = said.table(program)
        commands = set(table) - {""}
        if commands:
            expect([name, ""], commands)
        for command, options in table.items():
            expect([name, *([command] if command else []), "--"], options)
    cli, window = "spillwright-cli", "spillwright"
    assert {cli, window} == set(names), names
    expect([cli, "prop"], {"propose"})
    expect([cli, "propose", "--allow", ""], {"flips", "nudges"})
    expect([cli, "lesson", "--sound", "p"], {"pink noise"})
    expect([cli, "measure", "--from", ""], set())
    expect([cli, "demo", ""], {"net-loft"})
    listed = subprocess.run([programs[names.index(cli)], "lesson"], check=True, stdout=subprocess.PIPE, text=True).stdout
    expect([cli, "lesson", ""], {line.split("  ")[0] for line in listed.splitlines() if not line.startswith(" ")})
    expect([cli, "measure", ""], {"a recording"})
    expect([cli, "measure", "--json", "m"], {"mine.spillwright", "mine.txt"})
    expect([cli, "report", "--session", "m"], {"mine.spillwright"})
    expect([cli, "render", "--to", ""], {"a recording"})
    expect([window, "m"], {"mine.spillwright"})
    expect([window, ""], {"a recording", "mine.spillwright"})

    with tempfile.TemporaryDirectory() as name:
        here = pathlib.Path(name)
        (here / "a recording").mkdir()
        (here / "mine.spillwright").touch()
        (here / "mine.txt").touch()
        for shell in (Bash, Zsh, Fish):
            begin = time.monotonic()
            answers = shell(folder, names, path).offers(cases, here)
            assert len(answers) == len(cases), (shell, len(answers), len(cases))
            for words, offered, answer in zip(cases, wanted, answers):
                options = {word for word in answer if not re.fullmatch("-[a-z]", word)}
                assert options == offered, (shell.__name__, words, options ^ offered)
            print(f"{shell.__name__}: {len(cases)} cases in {time.monotonic() - begin:.1f} s")


if __name__ == "__main__":
    main(*sys.argv[1:])
