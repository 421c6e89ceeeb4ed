"""What the README says is executed: its command lines, on the demo, in a folder of their own.

usage: readme_commands.py README CLI RECORDING
"""

import pathlib
import re
import subprocess
import sys
import tempfile


def main(readme, cli, recording):
    text = pathlib.Path(readme).read_text(encoding="utf-8")
    commands = re.findall(r"^    (build/spillwright-cli .*)$", text, re.MULTILINE)
    assert len(commands) >= 2, commands
    named = {path for command in commands for path in re.findall(r"build/demo/\S+", command)}
    with tempfile.TemporaryDirectory() as name:
        folder = pathlib.Path(name)
        (folder / "build/demo").mkdir(parents=True)
        (folder / "build/spillwright-cli").symlink_to(cli)
        for path in named:
            (folder / path).symlink_to(recording)
        for command in commands:
            print(command, flush=True)
            subprocess.run(command.split(), cwd=folder, check=True, stdout=subprocess.DEVNULL)
        assert (folder / "sum.wav").stat().st_size > 1_000_000
        assert (folder / "report.html").stat().st_size > 100_000
        assert len((folder / "recall.csv").read_text(encoding="utf-8").splitlines()) > 10
        assert len(list((folder / "rendered").iterdir())) == len(list(pathlib.Path(recording).glob("*.wav")))

    # The usage that the README prints names every command and option that the program has, and no other.
    usage = text[text.index("    spillwright-cli measure") : text.index("For example, from recording")]
    said = set(re.findall(r"--[a-z-]+", usage))
    offered = set()
    for command in ("measure", "propose", "render", "compare", "sums", "report", "demo", "lesson"):
        help_text = subprocess.run([cli, command, "--help"], check=True, stdout=subprocess.PIPE, text=True).stdout
        offered |= set(re.findall(r"--[a-z-]+", help_text))
    assert said == offered - {"--help"}, (said ^ offered)


if __name__ == "__main__":
    main(*sys.argv[1:4])
