"""Commands that print what a shell and `man` take: completions and the manual page, as they came with the program."""

import argparse
from importlib.resources import files

from wardexam.commands import edge

NAMES = {"bash": "wardexam.bash", "zsh": "_wardexam", "fish": "wardexam.fish"}
PAGE = "wardexam.1"


def _print(name: str) -> int:
    edge.put((files("wardexam") / "shell" / name).read_text(encoding="utf-8"))
    return 0


def completion(options: argparse.Namespace) -> int:
    """Print the completion of one shell."""
    return _print(NAMES[options.shell])


def manual(_: argparse.Namespace) -> int:
    """Print the manual page."""
    return _print(PAGE)
