"""Commands that open a screen or talk on plain lines.

Imports stay inside the commands, so that each pays for what it uses.
"""

import argparse
import gc
import io
import os
import sys
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from wardexam.commands import edge
from wardexam.errors import InputError

if TYPE_CHECKING:
    from wardexam.records.repository import Repository

# When the demo ward's last examination was an hour or two ago (demo_db/scenario.py).
DEMO_NOW = datetime(2026, 3, 4, 14, 0, tzinfo=UTC)
DEMO = "Demo: invented patients, gone on leaving. Press {open} to examine, {help} for help."


def _terminal(
    ward: "Repository",
    options: argparse.Namespace,
    notice: str = "",
    clock: Callable[[], datetime] = edge.now,
    *,
    led: bool = False,
) -> int:
    from wardexam.terminal.environment import prepare, spare_memory

    terminal = prepare(os.environ, ascii_only=options.ascii, own=options.screen)
    spare_memory()
    # Until the list shows; the app turns this on again.
    gc.disable()
    from wardexam.session import Session
    from wardexam.terminal.app import WardApp
    from wardexam.terminal.keys import SCREENS, key_of

    wording, refusal = edge.hospital_wording(options)
    keymap, refused = edge.keymap()
    keys, tour = keymap or SCREENS, None
    if led:
        from wardexam.terminal.tour import Tour

        tour = Tour(keys)
    named = {action: key_of(keys["ward"], action) for action in ("open", "help")}
    return WardApp.run_on(
        Session(ward, edge.examiner(options), clock, edge.new_id, wording),
        terminal=terminal,
        notice="; ".join(filter(None, (refused, refusal))) or notice.format(**named),
        keymap=keymap,
        tour=tour,
    )


def open_screen(options: argparse.Namespace) -> int:
    """Open the ward on the screen."""
    return _terminal(edge.ward(options, begin=True), options)


def demo(options: argparse.Namespace) -> int:
    """Open a private copy of the demo ward, deleted on leaving; its clock starts with the scenario."""
    import tempfile

    from wardexam.records.paths import copy_demo
    from wardexam.records.ward import open_ward

    begun = edge.now()

    def clock() -> datetime:
        return DEMO_NOW + (edge.now() - begun)

    with tempfile.TemporaryDirectory(prefix="wardexam-demo-") as folder:
        ward = open_ward(copy_demo(Path(folder) / "ward"))
        return _terminal(ward, options, DEMO, clock, led=options.tour)


def enter(options: argparse.Namespace) -> int:
    """Ask sign by sign on plain lines."""
    from wardexam.plain.conversation import converse

    if sys.stdin is None:
        raise InputError("is closed", where="standard input")
    if isinstance(sys.stdin, io.TextIOWrapper):
        sys.stdin.reconfigure(errors="replace")
    session = edge.session(options, edge.spoken(options), begin=True)
    return converse(session, read=sys.stdin, write=edge.Door(), width=edge.width)


def keys(options: argparse.Namespace) -> int:
    """Print the keys in force as a keys file."""
    from wardexam.terminal.keymap import as_toml
    from wardexam.terminal.keys import SCREENS

    keymap, refused = edge.keymap()
    edge.put(as_toml(keymap or SCREENS))
    if refused:
        raise InputError(refused)
    return 0
