"""A sign, a question or when it began, looked up by a few letters of its name or of another name for it."""

import re
from functools import cache, lru_cache
from typing import Literal, NamedTuple

from wardexam.anatomy.catalogue import catalogue
from wardexam.exam.answering import synonyms
from wardexam.exam.flags import flags
from wardexam.exam.onset import onset
from wardexam.exam.sheet import groups
from wardexam.tables import all_known

Kind = Literal["onset", "sign", "flag"]
KIND_WORDS: dict[Kind, str] = {"onset": "question, story", "sign": "sign", "flag": "question, red flag"}  # fmt: skip
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
    own: tuple[tuple[str, ...], ...]  # what it is called here, in words
    others: tuple[
        tuple[int, tuple[str, ...]], ...
    ]  # other names in words, and where it stands in their row
    text: str  # the question, or all that is said of the sign: looked at last
    whole: str  # all of these: what is not in it fits in no way


class _Fit(NamedTuple):
    """How what is typed fits one entry; the smaller the better.

    A sign stands before a question whose own name is meant too, so that their order does not turn as a word is typed on.
    """

    rank: int
    question: bool
    anywhere: bool  # words of the name, not its beginning
    place: int
    name: str
    id: str
    by: tuple[str, ...]  # the name that fits
    what: Named


WHOLE, OWN, OTHER, WITHIN, TEXT = range(5)  # ranks, the best first


def _words(text: str) -> tuple[str, ...]:
    return tuple(re.findall(r"[^\W_]+", re.sub("['\u2019]", "", text.lower())))


def _other_names() -> dict[str, list[tuple[int, str]]]:
    """Other names by what they stand for: a sign's id, `FLAG` with a flag's, or the onset's; with the place in their row."""
    found: dict[str, list[tuple[int, str]]] = {}
    for name, meant in synonyms()["signs"].items():
        for place, one in enumerate(groups().get(meant, (meant,))):
            found.setdefault(one, []).append((place, name))
    for name, those in looked_for().items():
        for place, one in enumerate(those):
            found.setdefault(one, []).append((place, name))
    return found


@cache
def looked_for() -> dict[str, tuple[str, ...]]:
    """Words by which something is looked for, each with the ids of what it may mean, the likeliest first.

    Raises:
        TableError: One may mean what is no sign, no question that is asked, and not the onset.
    """
    known = {onset().id, *catalogue(), *(FLAG + flag for flag in flags())}
    words: dict[str, tuple[str, ...]] = synonyms()["find"]
    for name, those in words.items():
        all_known(those, known, f"synonyms.toml, find, row {name}")
    return words


@cache
def _entries() -> tuple[_Entry, ...]:
    others = _other_names()

    def entry(kind: Kind, key: str, one: str, name: str, text: str, short: str = "") -> _Entry:
        more = tuple((place, _words(other)) for place, other in others.get(key, ()))
        own = tuple(_words(n) for n in (name, one, short) if n)
        names = (" ".join(words) for words in (*own, *(words for _, words in more)))
        whole = "\n".join((*names, text.lower()))
        return _Entry(Named(kind, one, name), own, more, text.lower(), whole)

    return (
        entry("onset", onset().id, onset().id, onset().name, onset().ask),
        *(
            entry(
                "sign",
                s.id,
                s.id,
                s.name,
                f"{s.name} {s.place} {s.nerve} {s.part} {s.limb}",
                s.short,
            )
            for s in catalogue().values()
        ),
        *(entry("flag", FLAG + f.id, f.id, f.short, f.ask) for f in flags().values()),
    )


def _all_begin(typed: tuple[str, ...], name: tuple[str, ...]) -> bool:
    """Whether each begins a word of the name, each another."""
    if not typed:
        return True
    at = [n for n, word in enumerate(name) if word.startswith(typed[0])]
    return any(_all_begin(typed[1:], name[:n] + name[n + 1 :]) for n in at)


def _begins(typed: tuple[str, ...], name: tuple[str, ...]) -> bool:
    return len(typed) <= len(name) and all(map(str.startswith, name, typed))


def _within(typed: tuple[str, ...], name: tuple[str, ...]) -> bool:
    return all(any(t in word for word in name) for t in typed)


def _fit(typed: tuple[str, ...], entry: _Entry) -> _Fit | None:
    """How it fits: a whole name, the beginning of its own, beginnings of words of its own or of others; or not."""
    if not all(t in entry.whole for t in typed):
        return None
    own = [(0, name) for name in entry.own]
    every = [*own, *entry.others]
    ways = (
        (WHOLE, False, every, tuple.__eq__),
        (OWN, False, own, _begins),
        (OWN, True, own, _all_begin),
        (OTHER, True, entry.others, _all_begin),
        (WITHIN, True, every, _within),
    )
    what = entry.what
    question, name = what.kind == "flag", what.name.lower()
    for rank, anywhere, names, fits in ways:
        if found := sorted((place, one) for place, one in names if fits(typed, one)):
            place, by = found[0]
            return _Fit(rank, question, anywhere, place, name, what.id, by, what)
    if all(t in entry.text for t in typed):
        return _Fit(TEXT, question, True, 0, name, what.id, (), what)
    return None


@lru_cache(512)
def _fits(text: str) -> tuple[_Fit, ...]:
    typed = _words(text)
    if not typed:
        return ()
    return tuple(sorted(fit for e in _entries() if (fit := _fit(typed, e)) is not None))


def looked_up(text: str) -> tuple[Named, ...]:
    """Everything that what is typed may mean, the best first, equally good in the order of the table, then by name.

    A sign stands before a question that fits as well. Nothing for a blank.
    """
    return tuple(fit.what for fit in _fits(text))


def shared(text: str) -> tuple[Named, Named] | None:
    """The sign and the question that are both meant so far, by names of their own that begin alike.

    None where one of them alone is meant, or the best is called so in full: it may then be gone to at once.
    """
    fits = _fits(text)
    if not fits or _words(text) == _words(fits[0].what.name):
        return None
    sign = next((f for f in fits if f.what.kind == "sign" and f.rank <= OWN), None)
    question = next((f for f in fits if f.what.kind == "flag" and f.rank <= OWN), None)
    if sign is None or question is None or sign.by == question.by:
        return None
    return sign.what, question.what
