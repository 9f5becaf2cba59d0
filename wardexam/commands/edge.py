"""What enters at the edge: time, identity, who examines, which ward, whose words and keys."""

import argparse
import os
import sys
from datetime import datetime
from typing import TYPE_CHECKING, TypeVar

from wardexam.errors import WardexamError

if TYPE_CHECKING:
    from collections.abc import Callable

    from wardexam.reasoning.rules.wording import Wording
    from wardexam.records.ward import Ward
    from wardexam.terminal.keymap import Keymap


def now() -> datetime:
    """The time at the edge, with the zone of the terminal."""
    return datetime.now().astimezone()


def new_id() -> str:
    """A new opaque identifier of 16 letters and digits."""
    import secrets

    return "".join(secrets.choice("abcdefghijkmnpqrstuvwxyz23456789") for _ in range(16))


def examiner(options: argparse.Namespace) -> str:
    """Who examines: as given, else of the environment, else the login."""
    import getpass

    try:
        user = getpass.getuser()
    except (OSError, KeyError):
        user = ""
    return str(options.examiner or os.environ.get("WARDEXAM_EXAMINER") or user or "examiner")[:120]


def ward(options: argparse.Namespace) -> "Ward":
    """The ward in the folder given, or in its usual place."""
    from wardexam.records.paths import ward_folder
    from wardexam.records.ward import open_ward

    return open_ward(ward_folder(options.db), shared=options.shared)


T = TypeVar("T")


def _settings(
    name: str, none: T, given: str | None, read: "Callable[[str, str], T]"
) -> "tuple[T, str]":
    """What a settings file holds, `none` where there is no file, and why it was refused where it was."""
    from wardexam.records.paths import settings_text

    try:
        found = settings_text(name, given)
        return (none, "") if found is None else (read(found[1], found[0]), "")
    except WardexamError as error:
        return none, str(error)


def hospital_wording(options: argparse.Namespace) -> "tuple[Wording, str]":
    """The hospital's own words, and why they were refused where they were."""

    def read(text: str, where: str) -> "Wording":
        from wardexam.reasoning.rules.wording import read_wording

        return read_wording(text, where=where)

    return _settings("wording", {}, options.wording, read)


def spoken(options: argparse.Namespace) -> "Wording":
    """The hospital's own words; a refusal is said on stderr and the command goes on without."""
    wording, refusal = hospital_wording(options)
    if refusal:
        complain(refusal)
    return wording


def keymap() -> "tuple[Keymap | None, str]":
    """The user's own keys, None for the built-in ones, and why they were refused where they were."""

    def read(text: str, where: str) -> "Keymap | None":
        from wardexam.terminal.keymap import read_keys

        return read_keys(text, where=where)

    return _settings("keys", None, None, read)


def complain(text: str) -> None:
    """An error as one line on stderr; what it quotes cannot move the cursor."""
    from wardexam.exam.text import clean

    print(f"wardexam: {clean(text)}", file=sys.stderr)
