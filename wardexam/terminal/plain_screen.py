"""A text on the terminal's plain screen, where its own selection works, until the doctor goes on."""

import contextlib
import os
import select
import signal
import sys
import termios
from typing import Any

from textual.app import App

PROMPT = "Select and copy above; Enter goes back. "


def show_plainly(app: App[Any], text: str) -> None:
    """Leave the app's screen and show a text until Enter; Ctrl-D and Ctrl-C go back too.

    Raises:
        SuspendNotSupported: The app's screen cannot be left here.
        OSError: The text cannot be written.
        UnicodeEncodeError: The terminal's encoding lacks a letter of it.
    """
    fault: OSError | UnicodeEncodeError | None = None
    with app.suspend():
        try:  # Textual takes its screen back only where nothing is raised here (8.2.8; no upstream number)
            print(text)
            print(PROMPT, end="", flush=True)
            _wait_for_line(sys.__stdin__.fileno() if sys.__stdin__ else 0)
        except (OSError, UnicodeEncodeError) as error:
            fault = error
    if fault is not None:
        raise fault


def _wait_for_line(fileno: int) -> None:
    """Wait for a line, the end of the input or an interrupt, and drop what was typed."""
    woken, wake = os.pipe()
    # An interrupt that raised could come behind the line as well, where nothing catches it.
    before = signal.signal(signal.SIGINT, lambda *_: os.write(wake, b"."))
    try:
        select.select([fileno, woken], [], [])
        with contextlib.suppress(termios.error):
            termios.tcflush(fileno, termios.TCIFLUSH)
    finally:
        signal.signal(signal.SIGINT, before)
        os.close(woken)
        os.close(wake)
