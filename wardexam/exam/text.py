"""Free text made safe to show and to print: no control sequence reaches a terminal or a record."""

import unicodedata

# Invisible characters that reorder or hide text (Unicode bidirectional controls, zero-width marks).
_HIDDEN = frozenset(
    "\u200b\u200c\u200d\u200e\u200f\u2028\u2029\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069\ufeff"
)


def clean(text: str) -> str:
    """The text on one line, control and hidden characters shown as ``?``, tabs and ends as spaces."""
    shown = []
    for character in text:
        if character in "\t\n\r":
            shown.append(" ")
        elif character in _HIDDEN or unicodedata.category(character) in ("Cc", "Cs", "Co", "Cn"):
            shown.append("?")
        else:
            shown.append(character)
    return "".join(shown)


def digits(text: str) -> str:
    """The text with the decimal digits of every script as 0 to 9."""
    return "".join(str(unicodedata.decimal(c, c)) for c in text)


def to_ascii(text: str) -> str:
    """The cleaned text in ASCII: accents dropped, digits plain, what has no plain letter as ``?``."""
    plain = digits(unicodedata.normalize("NFKD", clean(text)))
    kept = "".join(c for c in plain if not unicodedata.combining(c))
    return kept.encode("ascii", "replace").decode("ascii")


def columns(text: str) -> int:
    """How many columns of a terminal the text takes, at most."""
    return sum(map(_width, text)) if not text.isascii() else len(text)


def _width(character: str) -> int:
    if unicodedata.category(character) in ("Mn", "Me"):
        return 0
    return 2 if unicodedata.east_asian_width(character) in "FW" else 1


def cut(text: str, width: int) -> str:
    """The text in at most so many columns, ending in ``..`` where it was cut."""
    if columns(text) <= width:
        return text
    end = ".." if width > 4 else ""
    shown, room = "", width - len(end)
    for character in text:
        room -= _width(character)
        if room < 0:
            break
        shown += character
    return shown.rstrip() + end


# Characters at which no wrapping breaks a line, for those at which it does.
_HELD = str.maketrans(" -", "\u00a0\u2011")
_RELEASED = str.maketrans("\u00a0\u2011", " -")


def held(text: str) -> str:
    """The text in a form that no wrapping breaks; `released` gives it back."""
    return text.translate(_HELD)


def released(text: str) -> str:
    """What `held` changed as it was."""
    return text.translate(_RELEASED)
