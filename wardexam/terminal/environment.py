"""What kind of terminal this is, decided once, before Textual is first imported.

Textual reads its settings from the environment at import, so `prepare` must run first. It fills
only what the user has not set. Settings of our own: ``WARDEXAM_ASCII``, ``WARDEXAM_MOUSE``,
``WARDEXAM_HIGH_CONTRAST`` (``on``/``off``) and ``WARDEXAM_BACKGROUND`` (``light``/``dark``).
"""

import contextlib
import ctypes
import os
import re
import sys
from collections.abc import Mapping, MutableMapping
from dataclasses import dataclass
from typing import Literal

from wardexam.errors import InputError

Background = Literal["dark", "light", "unknown"]
TRUECOLOUR = 16_777_216

_M_ARENA_MAX = -8  # of the C library's mallopt

_ON, _OFF = ("1", "on", "yes", "true"), ("0", "off", "no", "false")
_REMEDY = "use 'wardexam enter', which asks sign by sign on plain lines"


@dataclass(frozen=True, slots=True)
class Terminal:
    """What the screen may use of the terminal.

    Attributes:
        term: The terminal's name, ``TERM``.
        colours: 0, 16, 256 or 16777216.
        ascii: Draw with plain ASCII only.
        background: ``dark`` or ``light``, where the terminal says so.
        remote: Reached over a network, so that every byte and every query costs.
        tmux: Inside tmux.
        mouse: Ask the terminal for mouse reports; its own selection by mouse then stops working.
        high_contrast: Only the terminal's own text and background, nothing dim and no colours.

    """

    term: str
    colours: int
    ascii: bool
    background: Background = "unknown"
    remote: bool = False
    tmux: bool = False
    mouse: bool = False
    high_contrast: bool = False


def spare_memory() -> None:
    """Leave out what takes memory in every session and serves none; call before threads and Textual.

    All threads take from one heap, since each of their own keeps what it once held; and asyncio goes without
    TLS, as it does where Python was made without: the screen speaks to no network.
    """
    sys.modules.setdefault("ssl", None)  # type: ignore[arg-type]  # importing it then fails
    with contextlib.suppress(AttributeError, OSError, TypeError):  # there is no such call
        ctypes.CDLL(None).mallopt(_M_ARENA_MAX, 1)


def prepare(
    environ: MutableMapping[str, str],
    *,
    ascii_only: bool = False,
    attached: bool | None = None,
    inherited: Mapping[str, str] | None = None,
    own: Mapping[str, str] | None = None,
) -> Terminal:
    """Describe the terminal and set defaults for it; call before the first import of Textual.

    Args:
        environ: The environment; defaults are added to it.
        ascii_only: The user asked for plain ASCII.
        attached: Whether input and screen are a terminal; found out when None.
        inherited: The environment as the process was given it; found out when None. Python
            itself adds ``LC_CTYPE=C.UTF-8`` under the C locale (PEP 538), which says nothing
            about the terminal.
        own: Variables of our own as a settings file says them, where the environment does not.

    Raises:
        InputError: A full screen is impossible here; points to the line mode.

    """
    if attached is None:
        # Textual reads from stdin and draws on stderr.
        attached = sys.__stdin__ is not None and sys.__stdin__.isatty()
        attached = attached and sys.__stderr__ is not None and sys.__stderr__.isatty()
    if not attached:
        raise InputError("the screen needs a terminal, not a pipe or a file", remedy=_REMEDY)
    term = environ.get("TERM", "").strip()
    _refuse_plain(term)
    terminal = describe(environ, ascii_only=ascii_only, inherited=inherited, own=own)
    _set_defaults(environ, terminal)
    return terminal


def describe(
    environ: Mapping[str, str],
    *,
    ascii_only: bool = False,
    inherited: Mapping[str, str] | None = None,
    own: Mapping[str, str] | None = None,
) -> Terminal:
    """What the environment says of the terminal; the arguments are those of `prepare`."""
    wrong = unusable(environ)
    said = {**(own or {}), **{n: v for n, v in environ.items() if v and n not in wrong}}
    tmux = bool(environ.get("TMUX"))
    remote = tmux or any(environ.get(name) for name in ("SSH_CONNECTION", "SSH_TTY", "SSH_CLIENT"))
    return Terminal(
        term=environ.get("TERM", "").strip(),
        colours=colours(environ),
        ascii=ascii_only or wants_ascii(said, _inherited(environ, inherited)),
        background=background(said),
        remote=remote,
        tmux=tmux,
        mouse=_switch(said, "WARDEXAM_MOUSE", not remote),
        high_contrast=_switch(said, "WARDEXAM_HIGH_CONTRAST", False),
    )


def unusable(environ: Mapping[str, str]) -> dict[str, str]:
    """Our own variables that hold what they cannot be, each with what it can be; they are passed over."""
    can_be = dict.fromkeys(
        ("WARDEXAM_ASCII", "WARDEXAM_MOUSE", "WARDEXAM_HIGH_CONTRAST"), ((*_ON, *_OFF), "on or off")
    ) | {"WARDEXAM_BACKGROUND": (("dark", "light"), "dark or light")}
    return {
        name: words
        for name, (values, words) in can_be.items()
        if (said := environ.get(name)) and said.lower() not in values
    }


def _refuse_plain(term: str) -> None:
    if term in ("", "dumb", "unknown", "network"):
        raise InputError(
            f"a full screen is impossible with TERM={term or 'unset'}",
            where="TERM",
            remedy=f"{_REMEDY}; or set TERM to what your terminal is",
        )


def _set_defaults(environ: MutableMapping[str, str], terminal: Terminal) -> None:
    systems = {0: "standard", 16: "standard", 256: "256", TRUECOLOUR: "truecolor"}
    defaults = {
        "TEXTUAL_COLOR_SYSTEM": systems[terminal.colours],
        # Nothing moves of its own accord; over a network each frame would be sent.
        "TEXTUAL_ANIMATIONS": "none",
        "TEXTUAL_SMOOTH_SCROLL": "0",
        # The keyboard protocol stays on after a dropped link and makes the shell unusable.
        "TEXTUAL_DISABLE_KITTY_KEY": "1",
        # An arrow key that a slow link cuts in two must not arrive as Escape and a letter.
        "ESCDELAY": "250" if terminal.remote else "100",
        # Looking for plugins that nobody has loads what reads packages: 1 MB in every session.
        "PYDANTIC_DISABLE_PLUGINS": "1",
    }
    for name, value in defaults.items():
        environ.setdefault(name, value)
    # Textual takes an empty NO_COLOR for a wish; the convention (no-color.org) does not.
    if terminal.colours == 0:
        environ["NO_COLOR"] = "1"
    else:
        environ.pop("NO_COLOR", None)


def colours(environ: Mapping[str, str]) -> int:
    """How many colours to use: 0, 16, 256 or 16777216.

    ``NO_COLOR`` wins; then the terminal's name; 16 where that says nothing.
    """
    term = environ.get("TERM", "").lower()
    if environ.get("NO_COLOR") or re.fullmatch(r"vt\d+.*|.*-m(ono)?", term):
        return 0
    if environ.get("COLORTERM", "").strip().lower() in ("truecolor", "24bit"):
        return TRUECOLOUR
    if term.endswith("-direct"):
        return TRUECOLOUR
    return 256 if "256color" in term else 16


def wants_ascii(environ: Mapping[str, str], inherited: Mapping[str, str]) -> bool:
    """Whether to draw with ASCII only: the locale is not UTF-8, or the terminal is a VT."""
    term = environ.get("TERM", "").lower()
    locale = next((v for n in ("LC_ALL", "LC_CTYPE", "LANG") if (v := inherited.get(n))), "C")
    utf8 = re.search(r"utf-?8", locale, re.IGNORECASE) is not None
    return _switch(environ, "WARDEXAM_ASCII", not utf8 or re.match(r"vt\d", term) is not None)


def background(environ: Mapping[str, str]) -> Background:
    """The background, by our setting or by ``COLORFGBG`` (its last number); a console's is dark."""
    said = environ.get("WARDEXAM_BACKGROUND", "").lower()
    if said in ("light", "dark"):
        return "light" if said == "light" else "dark"
    number = environ.get("COLORFGBG", "").rpartition(";")[2]
    if number in ("7", "15"):
        return "light"
    return "dark" if number.isdecimal() or environ.get("TERM", "") == "linux" else "unknown"


def has_shell() -> bool:
    """Whether a shell with job control started us: without one a stop would be for ever."""
    try:
        parent = os.getppid()
        return os.getsid(parent) == os.getsid(0) and os.getpgid(parent) != os.getpgrp()
    except OSError:
        return False


def _switch(environ: Mapping[str, str], name: str, default: bool) -> bool:
    value = environ.get(name, "").lower()
    return True if value in _ON else False if value in _OFF else default


def _inherited(environ: Mapping[str, str], given: Mapping[str, str] | None) -> Mapping[str, str]:
    if given is not None:
        return given
    if environ is not os.environ:
        return environ
    try:
        # Linux keeps the environment as the process was given it.
        with open("/proc/self/environ", "rb") as source:
            pairs = source.read().decode("utf-8", "replace").split("\0")
    except OSError:
        return environ
    return dict(pair.split("=", 1) for pair in pairs if "=" in pair)
