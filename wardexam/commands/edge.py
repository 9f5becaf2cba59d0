"""What enters and leaves at the edge: time, identity, who examines, which ward, whose words and keys.

Whatever a command says goes through `put`, so that nothing which was read from a file, a name or an
option can take hold of the terminal.
"""

import argparse
import os
import sys
from datetime import datetime
from typing import TYPE_CHECKING, TypeVar

from wardexam.errors import InputError, WardexamError

if TYPE_CHECKING:
    from collections.abc import Callable
    from typing import TextIO

    from wardexam.reasoning.rules.wording import Wording
    from wardexam.records.repository import Repository
    from wardexam.session import Session
    from wardexam.terminal.keymap import Keymap


STANDARD_INPUT = ("-", "/dev/stdin", "/dev/fd/0")  # how a file's name may say it


def now() -> datetime:
    """The time at the edge, with the zone of the terminal.

    Raises:
        InputError: The zone is more than a day from that of Greenwich.
    """
    try:
        return datetime.now().astimezone()
    except ValueError:
        raise InputError(
            "is no time zone", f"TZ={os.environ.get('TZ', '')}", "set it right, or take it away"
        ) from None


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
    name = str(options.examiner or os.environ.get("WARDEXAM_EXAMINER") or user or "examiner")
    return kept_words(name)[:120]


def kept_words(given: str) -> str:
    """Words as they can be kept: bytes that are no text as ``?``."""
    return given.encode("utf-8", "replace").decode()


def place(options: argparse.Namespace) -> tuple[str, bool]:
    """Where the ward is, a folder or a server's URL, and whether it was said on the command line."""
    if options.db:
        return str(options.db), bool(options.given.get("db"))
    return os.environ.get("WARDEXAM_DB", ""), False


def ward(options: argparse.Namespace, *, begin: bool = False, mend: bool = False) -> "Repository":
    """The ward in the folder given, on the server given, or in its usual place.

    A folder's is begun where none stands, and its mark written anew where it is lost, only when told; a
    server's is made by `wardexam store create`.
    """
    from wardexam.records.postgres.url import is_server

    where, on_command_line = place(options)
    if is_server(where):
        return _on_server(options, where, on_command_line)
    from wardexam.records.paths import ward_folder
    from wardexam.records.ward import open_ward

    return open_ward(ward_folder(options.db), shared=options.shared, begin=begin, mend=mend)


def _on_server(options: argparse.Namespace, url: str, on_command_line: bool) -> "Repository":
    import atexit

    from wardexam.records.postgres.ward import open_server

    if options.shared:
        raise InputError("--shared goes with a folder", "--shared", "leave the option out")
    opened = open_server(url, on_command_line=on_command_line)
    atexit.register(opened.close)
    return opened


def session(
    options: argparse.Namespace, wording: "Wording | None" = None, *, begin: bool = False
) -> "Session":
    """The ward, who examines, time, identity and the hospital's words as one value."""
    from wardexam.session import Session

    return Session(ward(options, begin=begin), examiner(options), now, new_id, wording or {})


LEAST_WIDTH = 30  # columns: a terminal that says it has fewer is not believed


def width() -> int:
    """How many columns a line of the output has: the terminal's, 80 where there is none."""
    import shutil

    return max(LEAST_WIDTH, shutil.get_terminal_size((80, 24)).columns)


T = TypeVar("T")


def _settings(
    name: str, none: T, given: str | None, read: "Callable[[str, str], T]"
) -> "tuple[T, str]":
    """What a settings file holds, `none` where there is no file, and why it was refused where it was."""
    from wardexam.records.paths import settings_text

    try:
        found = settings_text(name, given)
        return (none, "") if found is None else (read(found[1], found[0]), "")
    except InputError:  # a path that can be none
        raise
    except WardexamError as error:
        return none, str(error)


def hospital_wording(options: argparse.Namespace) -> "tuple[Wording, str]":
    """The hospital's own words, and why they were refused where they were."""

    def read(text: str, where: str) -> "Wording":
        from wardexam.reasoning.rules.wording import read_wording

        return read_wording(text, where=where, today=now().date())

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


# --- the door for what is said

LONGEST_LINE = 1_000  # characters of an error, which may quote what was given


class OutputError(WardexamError):
    """What a command says cannot be written."""


def on_one_line(text: str) -> str:
    """The text on one line; nothing in it moves the cursor, hides or reorders."""
    from wardexam.exam.text import clean

    return clean(text)


def put(text: str, stream: "TextIO | None" = None) -> None:
    """Write lines to stdout, or to another stream, each of them cleaned.

    Raises:
        OutputError: They cannot be written.
        BrokenPipeError: Nobody reads them any more.
    """
    target = stream or sys.stdout
    if target is None:
        raise OutputError("the output is closed")
    if not (text.isascii() and text.replace("\n", "").isprintable()):
        from wardexam.exam.text import clean_lines

        text = clean_lines(text)
        encoding = target.encoding or "utf-8"
        text = text.encode(encoding, "replace").decode(encoding)
    try:
        target.write(text)
    except BrokenPipeError:
        raise
    except OSError as error:
        raise OutputError(f"the output cannot be written: {error.strerror}") from None


def flush() -> None:
    """Have everything written that was put.

    Raises:
        OutputError: It cannot be written.
        BrokenPipeError: Nobody reads it any more.
    """
    try:
        if sys.stdout is not None:
            sys.stdout.flush()
    except BrokenPipeError:
        raise
    except OSError as error:
        raise OutputError(f"the output cannot be written: {error.strerror}") from None


class Door:
    """The door as a file that can be written to."""

    def write(self, text: str, /) -> int:
        """Write lines."""
        put(text)
        return len(text)

    def flush(self) -> None:
        """Have them written."""
        flush()


def silence(stream: "TextIO | None") -> None:
    """Point a stream that cannot be written nowhere, so that its closing stays quiet."""
    import contextlib

    if stream is not None:
        with contextlib.suppress(OSError, ValueError):
            nowhere = os.open(os.devnull, os.O_WRONLY)
            os.dup2(nowhere, stream.fileno())
            os.close(nowhere)


def remark(text: str) -> None:
    """Lines on stderr; where they cannot be written they are dropped."""
    try:
        if sys.stderr is not None:
            put(text if text.endswith("\n") else text + "\n", sys.stderr)
            sys.stderr.flush()
    except (OSError, OutputError):
        silence(sys.stderr)


def complain(text: str) -> None:
    """An error as one line on stderr; what it quotes cannot move the cursor."""
    line = on_one_line(text[: LONGEST_LINE + 1])
    remark(f"wardexam: {line if len(line) <= LONGEST_LINE else line[:LONGEST_LINE] + '..'}")


def progress(text: str) -> None:
    """How far a long command is, over and over on one line of a terminal; with no text, its end."""
    if sys.stderr is None or not sys.stderr.isatty():
        return
    if text:
        sys.stderr.write("\r")  # the one control character of ours
        put(text, sys.stderr)
        sys.stderr.flush()
    else:
        remark("")
