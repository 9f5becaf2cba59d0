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


def to_ascii(text: str) -> str:
    """The cleaned text in ASCII: accents dropped, what has no plain letter as ``?``."""
    plain = unicodedata.normalize("NFKD", clean(text))
    kept = "".join(c for c in plain if not unicodedata.combining(c))
    return kept.encode("ascii", "replace").decode("ascii")
