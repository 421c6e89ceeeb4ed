"""What a program says of itself with --help: its commands, and the options of each; the command "" is the program."""

import re
import subprocess


def help_of(program, *words):
    return subprocess.run([program, *words, "--help"], check=True, stdout=subprocess.PIPE, text=True).stdout


def options_of(text):
    lines = text[text.index("Options:") :].splitlines()
    return {name for line in lines for name in re.findall(r"^  (?:-\w,)?(--[a-z-]+)", line)}


def commands_of(text):
    if "Subcommands:" not in text:
        return []
    return re.findall(r"^  ([a-z]+) ", text[text.index("Subcommands:") :], re.MULTILINE)


def table(program):
    text = help_of(program)
    result = {"": options_of(text.split("Subcommands:")[0])}
    for command in commands_of(text):
        result[command] = options_of(help_of(program, command))
    assert all("--help" in options for options in result.values()), result
    return result
