"""What is in force: an option, else the environment, else a settings file, else what is built in.

A settings file is ``settings.toml`` in the user's settings folder and in the host's, each name taken from
the user's first; or the one file that ``WARDEXAM_SETTINGS`` names. It is taken whole or refused: what
would open another ward than the one that is meant is not passed over.
"""

import argparse
import os
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from wardexam.commands import edge
from wardexam.errors import InputError

REMEDY = "mend the line or take it out"
LONGEST = 120  # characters of a name


@dataclass(frozen=True, slots=True)
class Setting:
    """One name of a settings file.

    Attributes:
        name: As it stands in the file.
        does: What it is, in few words.
        fault: What is wrong with a value; empty where nothing is.
        variable: The variable of the environment that goes before it; empty where there is none.
        option: The option that goes before both, as it is parsed; empty where there is none.
    """

    name: str
    does: str
    fault: Callable[[Any], str]
    variable: str = ""
    option: str = ""


@dataclass(frozen=True, slots=True)
class Chosen:
    """A value of a settings file, and the file and line where it stands."""

    value: str | bool
    where: str


def _store(value: Any) -> str:
    if not isinstance(value, str) or not value.isprintable():
        return "is a text: the folder's whole path"
    whole = value.startswith(("/", "~")) or "://" in value
    return "" if whole else "is a whole path: one that begins with / or ~"


def _name(value: Any) -> str:
    fits = (
        isinstance(value, str) and value.strip() and value.isprintable() and len(value) <= LONGEST
    )
    return "" if fits else f"is a name: one line of at most {LONGEST} characters"


def _switch(value: Any) -> str:
    return "" if isinstance(value, bool) else "is true or false"


def _background(value: Any) -> str:
    return "" if value in ("dark", "light") else 'is "dark" or "light"'


SETTINGS = (
    Setting("store", "the ward's folder", _store, "WARDEXAM_DB", "db"),
    Setting("shared", "a ward account's folder: readable by its group", _switch, option="shared"),
    Setting("examiner", "who examines", _name, "WARDEXAM_EXAMINER", "examiner"),
    Setting("ascii", "draw with plain ASCII characters only", _switch, "WARDEXAM_ASCII", "ascii"),
    Setting("mouse", "take the mouse (off over a network)", _switch, "WARDEXAM_MOUSE"),
    Setting("background", "the terminal's background: dark or light", _background, "WARDEXAM_BACKGROUND"),
    Setting("high_contrast", "the terminal's own text alone: no colours, nothing dim", _switch, "WARDEXAM_HIGH_CONTRAST"),
)  # fmt: skip
BY_OPTION = ("db", "shared", "examiner")  # what the file says of these stands in for the option


def read_settings(text: str, where: str) -> dict[str, Chosen]:
    """What a settings file says, by name.

    Args:
        text: The file's text.
        where: The file's path.

    Raises:
        TableError: The text is not TOML.
        InputError: A name is unknown or its value is wrong; with the line.
    """
    from wardexam.settings import line_of_name, read_toml

    known = {s.name: s for s in SETTINGS}
    found = {}
    for name, value in read_toml(text, where, REMEDY).items():
        place = f"{where}, line {line_of_name(text, name)}"
        if name not in known:
            raise InputError(f"there is no setting '{name}'; {_near(name)}", place, REMEDY)
        if fault := known[name].fault(value):
            raise InputError(f"'{name}' {fault}", place, REMEDY)
        found[name] = Chosen(value, place)
    return found


def _near(name: str) -> str:
    import difflib

    names = [s.name for s in SETTINGS]
    near = difflib.get_close_matches(name, names)
    return f"did you mean {', '.join(near)}?" if near else f"there are {', '.join(names)}"


def from_files() -> dict[str, Chosen]:
    """What the settings files say, by name: the user's before the host's.

    Raises:
        WardexamError: A file is refused.
    """
    from wardexam.records.paths import settings_texts

    found: dict[str, Chosen] = {}
    for where, text in settings_texts("settings"):
        found = read_settings(text, where) | found
    return found


def _of_terminal(chosen: Mapping[str, Chosen]) -> dict[str, str]:
    """What the files say of the screen, as the variables that would say it."""
    return {
        s.variable: c.value if isinstance(c.value, str) else ("off", "on")[c.value]
        for s in SETTINGS
        if s.option not in BY_OPTION and (c := chosen.get(s.name))
    }


def take(options: argparse.Namespace) -> None:
    """Put what the settings files say where neither an option nor the environment says it.

    `options.screen` then holds what they say of the screen, as variables of the environment, and
    `options.given` what the command line itself said.

    Raises:
        WardexamError: A file is refused.
    """
    options.screen = {}
    options.given = {s.option: getattr(options, s.option) for s in SETTINGS if s.option}
    if not {s.option for s in SETTINGS if s.option} & set(options.takes):
        return
    chosen = from_files()
    for setting in SETTINGS:
        option = setting.option
        free = option in BY_OPTION and option in options.takes and not getattr(options, option)
        if free and setting.name in chosen and not os.environ.get(setting.variable):
            setattr(options, option, chosen[setting.name].value)
    options.screen = _of_terminal(chosen)


def settings(options: argparse.Namespace) -> int:
    """Print what is in force as a settings file, and where each came from."""
    import json

    from wardexam.records.paths import ward_folder
    from wardexam.records.postgres.url import shown
    from wardexam.terminal.environment import describe, unusable

    chosen = from_files()
    terminal = describe(os.environ, ascii_only=options.given["ascii"], own=_of_terminal(chosen))
    now = {
        "store": shown(options.db or str(ward_folder(None))),
        "shared": options.shared,
        "examiner": edge.examiner(options),
        "ascii": terminal.ascii,
        "mouse": terminal.mouse,
        "background": terminal.background,
        "high_contrast": terminal.high_contrast,
    }
    edge.put("# What is in force, and where it came from. A file needs only what you choose.\n")
    wrong = unusable(os.environ)
    for setting in SETTINGS:
        name = setting.name
        if options.given.get(setting.option):
            source = f"--{setting.option}"
        elif os.environ.get(setting.variable) and setting.variable not in wrong:
            source = setting.variable
        else:
            source = chosen[name].where if name in chosen else ""
        line = f"{name} = {json.dumps(now[name], ensure_ascii=False)}"
        edge.put(f"{line}  # {source}\n" if source else f"# {line}  # built in: {setting.does}\n")
    if wrong:
        told = "; ".join(f"{name} is not {what}" for name, what in wrong.items())
        raise InputError(f"passed over: {told}", remedy="set it right, or unset it")
    return 0
