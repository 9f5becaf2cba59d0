"""The shells' completions and the manual page, made from the grammar: `python -m tests.shell_files` writes them anew.

Two libraries make them, needed here alone: a user's program loads neither.
"""

import argparse
import os
import re
from importlib.metadata import version
from pathlib import Path
from unittest import mock

import shtab
from argparse_manpage.manpage import Manpage

from wardexam import __version__
from wardexam.commands.arguments import parser
from wardexam.commands.shell import NAMES, PAGE

FOLDER = Path(__file__).parents[1] / "wardexam" / "shell"
# What the files there were made with; another version may write the same in other words.
MADE_WITH = {"shtab": "1.13.0", "argparse-manpage": "4.8"}
# What a value is, by how the grammar calls it.
COMPLETED = {"FILE": shtab.FILE, "SHEET": shtab.FILE, "FOLDER": shtab.DIRECTORY}


def other_makers() -> str:
    """Which library is here in another version than that of the files; empty where none is."""
    return ", ".join(
        f"{name} {version(name)}, not {made}"
        for name, made in MADE_WITH.items()
        if version(name) != made
    )


def commands(top: argparse.ArgumentParser) -> dict[str, tuple[argparse.ArgumentParser, str]]:
    """The grammar of each command and its one line of help, by its name."""
    (made,) = (a for a in top._actions if isinstance(a, argparse._SubParsersAction))
    return {row.dest: (made.choices[row.dest], row.help or "") for row in made._choices_actions}


def _completed() -> argparse.ArgumentParser:
    """The grammar with what the shells complete; each command described by its one line of help."""
    top = parser()
    for grammar, line in commands(top).values():
        grammar.description = line
    for grammar in (top, *(g for g, _ in commands(top).values())):
        for action in grammar._actions:
            if action.metavar in COMPLETED:
                action.complete = COMPLETED[action.metavar]  # type: ignore[attr-defined]  # shtab's own attribute
    return top


def page() -> str:
    """The manual page."""
    top = parser()
    for grammar, line in commands(top).values():
        if grammar.description == line:  # said once
            grammar.description = None
    with mock.patch.dict(os.environ, COLUMNS="10000"):  # `man` breaks the lines of a usage
        made = Manpage(top, format="single-commands-section")
        made.date, made.manual = "", "Bedside neurological examination"
        made.source, made.description = f"wardexam {__version__}", top.description
        text = str(made)
    text = re.sub(r"^(?=')", r"\\&", text, flags=re.M)  # a quote would begin a request there
    # Examples and variables stand in columns.
    return text.replace(".SH COMMENTS\n", ".SH EXAMPLES, ENVIRONMENT\n.nf\n") + "\n.fi\n"


def files() -> dict[str, str]:
    """The text of each file, by its name."""
    made = {name: shtab.complete(_completed(), shell) for shell, name in NAMES.items()} | {
        PAGE: page()
    }
    return {n: "\n".join(map(str.rstrip, t.strip().splitlines())) + "\n" for n, t in made.items()}


if __name__ == "__main__":
    for name, text in files().items():
        (FOLDER / name).write_text(text)
