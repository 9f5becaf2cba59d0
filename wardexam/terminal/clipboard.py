"""Hands text to the terminal's clipboard, and says honestly what is known of its arrival.

Inside tmux its own buffer is filled, which tmux confirms. Elsewhere the text goes out as OSC 52,
which no terminal confirms and some (PuTTY) ignore.
"""

import base64
import os
import subprocess
from collections.abc import Callable, Mapping
from typing import Any, Protocol

# Characters of base64 that terminals take at least (xterm and tmux take more; some stop near here).
OSC52_MOST = 74_994


class Screen(Protocol):
    """What is needed of the app."""

    def copy_to_clipboard(self, text: str) -> None:
        """Send text as OSC 52."""

    def send(self, sequence: str) -> None:
        """Send a sequence to the terminal."""


def osc52(text: str, *, inside_tmux: bool = False) -> str:
    """The sequence that asks a terminal to take text, wrapped to pass through tmux if wished.

    Raises:
        ValueError: The text is longer than terminals take.
    """
    encoded = base64.b64encode(text.encode("utf-8")).decode("ascii")
    if len(encoded) > OSC52_MOST:
        raise ValueError(f"{len(encoded)} characters are more than a terminal takes")
    sequence = f"\x1b]52;c;{encoded}\x07"
    # The passthrough form doubles each ESC within (tmux manual, allow-passthrough).
    return f"\x1bPtmux;{sequence.replace(chr(27), chr(27) * 2)}\x1b\\" if inside_tmux else sequence


def fill_tmux(text: str, run: Callable[..., Any] = subprocess.run) -> bool:
    """Fill tmux's buffer and let tmux offer it to the terminal outside; whether tmux took it."""
    # -w passes it on to the outer terminal (tmux 3.2 and later). By pipe, never as an argument.
    for options in (["-w"], []):
        try:
            done = run(
                ["tmux", "load-buffer", *options, "-"],
                input=text.encode("utf-8"),
                stdout=subprocess.DEVNULL,
                stderr=subprocess.DEVNULL,
                timeout=2,
                check=False,
            )
        except (OSError, subprocess.SubprocessError):
            return False
        if done.returncode == 0:
            return True
    return False


def send_to_clipboard(
    app: Screen,
    text: str,
    *,
    environ: Mapping[str, str] = os.environ,
    run: Callable[..., Any] = subprocess.run,
) -> str:
    """Send text to the terminal's clipboard.

    Returns:
        One line for the doctor: what was done, and what to check before relying on it.
    """
    tmux = bool(environ.get("TMUX"))
    if tmux and fill_tmux(text, run):
        return "In tmux's buffer (paste: prefix ]) and sent to your terminal; paste to check."
    try:
        sequence = osc52(text, inside_tmux=tmux)
    except ValueError:
        return "Too long for a terminal's clipboard; print the note and select it instead."
    if tmux:
        app.send(sequence)
    else:
        app.copy_to_clipboard(text)
    return "Sent to your terminal; paste to check. If nothing comes, print and select it."
