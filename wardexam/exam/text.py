"""Free text made safe to show and to print: no control sequence reaches a terminal or a record.

Neither does what is not seen: text that hides or reorders other text can make a note say another
thing than it holds. What is taken out leaves a ``?`` behind, so that its place is seen.
"""

import re
import unicodedata
from functools import lru_cache

COLUMN = 26  # columns of a list in which a reason is read whole
# Characters that are not drawn where a program does not know them: Default_Ignorable_Code_Point in
# DerivedCoreProperties.txt of the Unicode Character Database (Unicode 14 to 16 name the same ones).
IGNORABLE = (
    (0x00AD, 0x00AD), (0x034F, 0x034F), (0x061C, 0x061C), (0x115F, 0x1160), (0x17B4, 0x17B5),
    (0x180B, 0x180F), (0x200B, 0x200F), (0x202A, 0x202E), (0x2060, 0x206F), (0x3164, 0x3164),
    (0xFE00, 0xFE0F), (0xFEFF, 0xFEFF), (0xFFA0, 0xFFA0), (0xFFF0, 0xFFF8), (0x1BCA0, 0x1BCA3),
    (0x1D173, 0x1D17A), (0xE0000, 0xE0FFF),
)  # fmt: skip
# Controls, formats, surrogates, private and unassigned code points, separators of lines and paragraphs.
_TAKEN_OUT = frozenset({"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"})


@lru_cache(maxsize=4096)
def _shown(character: str) -> str:
    if character in " \t\n\r":
        return " "
    category = unicodedata.category(character)
    if category in _TAKEN_OUT or any(a <= ord(character) <= b for a, b in IGNORABLE):
        return "?"
    return " " if category == "Zs" else character


def clean(text: str) -> str:
    """The text on one line: tabs, ends and wide blanks as spaces, what is not seen as ``?``."""
    if text.isascii() and text.isprintable():
        return text
    return "".join(map(_shown, text))


def clean_lines(text: str) -> str:
    """Lines of text, each of them cleaned; the ends of lines, also with a carriage return, stay."""
    return "\n".join(
        clean(line[:-1]) + "\r" if line.endswith("\r") else clean(line) for line in text.split("\n")
    )


def capital(text: str) -> str:
    """The same with a capital first."""
    return text[:1].upper() + text[1:]


def digits(text: str) -> str:
    """The text with the decimal digits of every script as 0 to 9."""
    return "".join(str(unicodedata.decimal(c, c)) for c in text)


def to_ascii(text: str) -> str:
    """The cleaned text in ASCII: accents dropped, digits plain, what has no plain letter as ``?``."""
    plain = digits(unicodedata.normalize("NFKD", clean(text)))
    kept = "".join(c for c in plain if not unicodedata.combining(c))
    return kept.encode("ascii", "replace").decode("ascii")


def plain_letters(text: str) -> str:
    """The text as it is sought: without case and accents."""
    plain = unicodedata.normalize("NFKD", text)
    return "".join(c for c in plain if not unicodedata.combining(c)).casefold()


def counted(number: int, thing: str, many: str = "") -> str:
    """So many of a thing, as it is said: ``"1 patient"``, ``"2 patients"``; `many` where an ``s`` does not do."""
    return f"{number} {thing if number == 1 else many or f'{thing}s'}"


def columns(text: str) -> int:
    """How many columns of a terminal the text takes, at most."""
    return sum(map(_width, text)) if not text.isascii() else len(text)


def _width(character: str) -> int:
    if unicodedata.category(character) in ("Mn", "Me"):
        return 0
    return 2 if unicodedata.east_asian_width(character) in "FW" else 1


def natural(text: str) -> tuple[tuple[str, int, str], ...]:
    """A key by which texts stand as a person orders them: beds 4, 12, 14 and not 12, 14, 4."""
    return tuple(
        ("", int(part), part) if part.isdecimal() else (part, 0, part)
        for part in re.split(r"(\d+)", text)
        if part
    )


def with_stop(text: str) -> str:
    """A text with its full stop; one that ends with a question mark stays as it is."""
    return text if text.endswith((".", "?")) else f"{text}."


def sentence(text: str) -> str:
    """A text as a sentence: its first letter large, its end a full stop."""
    return with_stop(capital(text))


def whole_words(text: str, room: int) -> str:
    """A text in so many columns, ended after a whole word where it is longer; in no room nothing."""
    if columns(text) <= room:
        return text
    end = " .."
    shown = ""
    for word in text.split():
        if columns(longer := f"{shown} {word}".strip()) > room - len(end):
            break
        shown = longer
    return (shown + end).strip() if room > len(end) else ""


def folded(text: str, width: int) -> str:
    """Lines broken between words where they are longer than so many columns; a word longer than that is left whole.

    What a line goes on with stands under its first word, below ``1. `` and other marks of a list.
    """
    return "\n".join(made for line in text.split("\n") for made in _folded(line, width))


_INDENT = re.compile(r" *(?:\d+\. )?")


def _folded(line: str, width: int) -> list[str]:
    if columns(line) <= width:
        return [line]
    head = _INDENT.match(line)
    indent = " " * len(head[0] if head else "")
    words = line[len(indent) :].split(" ")
    made, here = list[str](), line[: len(indent)] + words[0]
    for word in words[1:]:
        if columns(here) + 1 + columns(word) > width and here.strip():
            made.append(here.rstrip())
            here = indent + word
        else:
            here += f" {word}"
    return [*made, here.rstrip()]


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
