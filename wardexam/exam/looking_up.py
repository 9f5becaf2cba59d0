"""A sign, a question or when it began, looked up by a few letters of its name or of another name for it."""

import re
from functools import cache, lru_cache
from typing import Literal, NamedTuple

from wardexam.anatomy.catalogue import catalogue
from wardexam.exam.answering import synonyms
from wardexam.exam.flags import flags
from wardexam.exam.onset import ONSET
from wardexam.exam.sheet import groups

Kind = Literal["onset", "sign", "flag"]
FLAG = "flag:"  # before a flag's id where signs and flags stand together


class Named(NamedTuple):
    """What can be looked up.

    Attributes:
        kind: What it is.
        id: Of the sign or the flag.
        name: As it is shown.
    """

    kind: Kind
    id: str
    name: str


class _Entry(NamedTuple):
    what: Named
    names: tuple[tuple[str, ...], ...]  # each in words
    text: str  # the question, or all that is said of the sign: looked at last


def _words(text: str) -> tuple[str, ...]:
    return tuple(re.findall(r"[^\W_]+", text.lower()))


def _other_names() -> dict[str, list[str]]:
    """Other names by what they stand for: a sign's id, `FLAG` with a flag's, or the onset's."""
    found: dict[str, list[str]] = {}
    for name, meant in synonyms()["signs"].items():
        for one in groups().get(meant, (meant,)):
            found.setdefault(one, []).append(name)
    for name, those in looked_for().items():
        for one in those:
            found.setdefault(one, []).append(name)
    return found


@cache
def looked_for() -> dict[str, tuple[str, ...]]:
    """Words by which something is looked for, each with the ids of what it may mean."""
    return {name: tuple(those) for name, those in synonyms()["find"].items()}


@cache
def _entries() -> tuple[_Entry, ...]:
    others = _other_names()

    def entry(kind: Kind, key: str, one: str, name: str, text: str) -> _Entry:
        names = (name, one, *others.get(key, ()))
        return _Entry(Named(kind, one, name), tuple(_words(n) for n in names), text.lower())

    return (
        entry("onset", ONSET.id, ONSET.id, ONSET.name, ONSET.ask),
        *(
            entry("sign", s.id, s.id, s.name, f"{s.name} {s.place} {s.nerve} {s.part} {s.limb}")
            for s in catalogue().values()
        ),
        *(entry("flag", FLAG + f.id, f.id, f.short, f.ask) for f in flags().values()),
    )


def _rank(typed: tuple[str, ...], entry: _Entry) -> int | None:
    """How well it fits: as a whole name, as beginnings of a name's words, within them, within its text; or not."""
    if typed in entry.names:
        return 0
    if any(all(any(w.startswith(t) for w in name) for t in typed) for name in entry.names):
        return 1
    if any(all(any(t in w for w in name) for t in typed) for name in entry.names):
        return 2
    return 3 if all(t in entry.text for t in typed) else None


@lru_cache(512)
def looked_up(text: str) -> tuple[Named, ...]:
    """Everything that what is typed may mean, the best first, equally good by name; nothing for a blank."""
    typed = _words(text)
    if not typed:
        return ()
    fits = [(rank, e.what) for e in _entries() if (rank := _rank(typed, e)) is not None]
    return tuple(what for _, what in sorted(fits, key=lambda f: (f[0], f[1].name.lower(), f[1].id)))
