"""What changed in words: the fullest first, so that whoever has less room takes the next.

What changed, and whether for the worse, is `change.py`.
"""

from collections.abc import Iterable, Sequence

from wardexam.anatomy.catalogue import catalogue
from wardexam.exam.findings import Finding, Side
from wardexam.exam.naming import before_sides, name_on, names_of
from wardexam.exam.text import counted
from wardexam.reasoning.rules.change import WAYS, Comparison, SignChange, order_said
from wardexam.reasoning.tables import change_row

BOTH = " on both sides"
SIDES: tuple[Side, ...] = ("right", "left")


def patterns_moved(change: Comparison) -> tuple[str, ...]:
    """The patterns that moved, in a doctor's words."""
    return tuple(pattern_words(pattern) for pattern in change.patterns)


def headline(change: Comparison) -> str:
    """What is worse, by what weighs most; else whether it changed, in full."""
    if not change.worse:
        return ways(change)[0]
    return f"worse: {(*patterns_moved(change), *map(text_of, change.together))[0]}"


def _verdict(change: Comparison) -> str:
    """Whether it is worse, better or neither, in a word."""
    return "worse" if change.worse else "better" if change.better else "changed"


def _what(change: Comparison) -> tuple[str, ...]:
    """What differs, the fullest first."""
    many = counted(_many(change.signs), "sign differs", "signs differ")
    if moved := patterns_moved(change):
        first = change.together[0]
        more = _many(s for s in change.signs if s not in first)
        said = text_of(first) + (f"; {more} more" if more else "")
        named = (f"{words}: {said}" for words in dict.fromkeys(("; ".join(moved), moved[0])))
        return *named, "; ".join((*moved, many)), f"{moved[0]}; {many}", moved[0], many
    if not change.worse and len({s.way for s in change.signs}) > 1:
        return _tally(change.signs), many
    first = change.together[0]
    rest = [s for s in change.signs if s not in first]
    alike = _many(s for s in rest if s.way == first[0].way)
    ends = [_tally(rest, beside=first[0].way), f"{alike} more" if alike else ""]
    texts = dict.fromkeys((text_of(first), _name_of(first)))
    with_ends = ("; ".join(filter(None, (text, end))) for text in texts for end in ends)
    return *dict.fromkeys(with_ends), many


def _new(change: Comparison) -> tuple[str, ...]:
    """What is found first now, the fullest first; nothing where nothing is."""
    if not change.first_found:
        return ()
    names = _named(change.first_found)
    leads = ("new, not examined before", "new")
    return *(f"{lead}: {said}" for lead in leads for said in _fewer(names)), f"{len(names)} new"


def _left(change: Comparison) -> tuple[str, ...]:
    """What was abnormal and was not looked at sign by sign, the fullest first; nothing where nothing was."""
    again, stated = _named(change.not_again), _named(change.now_stated)
    full = [f"not examined again: {', '.join(again)}"] if again else []
    full += [f"abnormal before, now stated normal: {', '.join(stated)}"] if stated else []
    short = [f"not redone: {said}" for said in _fewer(again)]
    short += [f"{len(again)}{said} not redone" for said in (" abnormal", "") if again]
    short += [f"{len(stated)} now stated normal"] if stated and not again else []
    return ("; ".join(full), *short) if full else ()


def new_words(change: Comparison) -> str:
    """What is found first now, in full; empty where nothing is."""
    return next(iter(_new(change)), "")


def ways(change: Comparison, since: str = "") -> tuple[str, ...]:
    """Whether it changed, and since when where that is told, the fullest first."""
    end = f" since {since}" if since else ""
    new, left = _new(change), _left(change)
    if change.signs:
        leads = [f"{_verdict(change)}{end}"]
        if since and _verdict(change) == "changed" and not (new or left):
            leads = [f"changed, not plainly worse,{end}", *leads]
        what = [f"{lead}: {said}" for said in _what(change) for lead in leads]
        return _with_tails(what, new, left, kept=not change.worse)
    many = counted(change.compared, "sign")
    same = f"no change in {many}" if change.compared else "no sign was examined both times"
    if new:
        dated = [said.replace("new", f"new{end}", 1) for said in new]
        tails = [f"; {'; '.join((same, *left[:1]))}", *(f"; {said}" for said in left[-1:]), ""]
        return tuple(f"{said}{tail}" for said in dated for tail in tails)
    if not change.compared:
        return (f"not compared: no sign of {since} was examined again" if since else same,)
    if not left:
        return (f"{same}{end}",)
    return (
        f"no change in the {many} examined again{end}; {left[0]}",
        *(f"no change{end} in {many}; {said}" for said in left[1:]),
        f"{change.compared} same, {left[-1]}",
        left[-1],
    )


def fitting(change: Comparison, room: int, since: str = "") -> str:
    """The fullest of `ways` that fits in so many columns; the shortest where none does."""
    fullest_first = ways(change, since)
    return next((way for way in fullest_first if len(way) <= room), fullest_first[-1])


def pattern_words(pattern: str) -> str:
    """One of `PATTERNS` in a doctor's words."""
    words: str = change_row("patterns")[pattern]["words"]
    return words


def _many(signs: Iterable[SignChange]) -> int:
    """How many signs there are, one of two sides once."""
    return len({s.key[0] for s in signs})


def _tally(signs: Sequence[SignChange], beside: str = "") -> str:
    """How many signs are worse, better and neither: ``1 worse, 2 better``; `beside` is what one told before is."""
    counts = {k: _many(s for s in signs if s.way == k) for k in WAYS}
    said = [f"{n} {'more ' if k == beside else ''}{k}" for k, n in counts.items() if n]
    return ", ".join(said)


def how_of(mine: Iterable[SignChange]) -> str:
    """How the sides of one sign differ: ``4 to 2 on both sides``, ``right 4 to 3, left 4+ to 3``."""
    sides = {s.key[1]: s.how for s in mine}
    hows = set(sides.values())
    if len(hows) == 1 and (len(sides) > 1 or "midline" in sides):
        return f"{hows.pop()}{BOTH if len(sides) > 1 else ''}"
    return ", ".join(f"{side} {sides[side]}" for side in SIDES if side in sides)


def text_of(mine: Sequence[SignChange]) -> str:
    """A sign with its sides, and how they differ: ``left ankle jerk 2+ to 0``, ``saddle sensation was ...``."""
    if len(mine) == 1:
        return mine[0].text
    return f"{before_sides((mine[0].row,))} {how_of(mine)}"


def told_bare(change: Comparison, said: str) -> str:
    """One of `ways` without its first word, where that stands elsewhere or what is left says by itself that it changed."""
    bare = said.removeprefix("worse: ").removeprefix("changed: ")
    if not said.startswith("changed: "):
        return bare
    first = change.together[0]
    alone = bare.startswith(_name_of(first)) and not bare.startswith(text_of(first))
    return said if alone else bare


def _name_of(mine: Sequence[SignChange]) -> str:
    """A sign with its sides alone, where there is no room for how they differ."""
    sign, side = mine[0].row, mine[0].key[1]
    return name_on(sign, side) if len(mine) == 1 else f"{names_of((sign,))}{BOTH}"


def _with_tails(
    what: list[str], new: tuple[str, ...], left: tuple[str, ...], *, kept: bool
) -> tuple[str, ...]:
    """What differs, with what is new and what was left out, the fullest first: the names of these give way first.

    Args:
        what: What differs, the fullest first.
        new: What is new.
        left: What was left out.
        kept: Whether that there is any of these never gives way.
    """
    both = (*new[-1:], *left[-1:])
    named = [(*new[:1], said) for said in left] + [(said, *left[-1:]) for said in new]
    short = [both] if kept else [both, new[-1:]]
    pairs = [(what[0], tail) for tail in (*named, *short)]
    pairs += [(said, tail) for said in what[1:] for tail in short]
    pairs += [] if kept else [(what[-1], ())]
    return tuple(dict.fromkeys("; ".join((said, *tail)) for said, tail in pairs))


def _named(findings: Iterable[Finding]) -> list[str]:
    """The signs of findings, the gravest part first, each once: with its side where it is of one."""
    sides: dict[str, list[Side]] = {}
    for f in sorted(findings, key=lambda f: order_said(f.row)):
        sides.setdefault(f.sign, []).append(f.side)
    signs = catalogue()
    return [
        name_on(signs[sign], on[0]) if len(on) == 1 else names_of((signs[sign],))
        for sign, on in sides.items()
    ]


def _fewer(names: list[str]) -> list[str]:
    """The names in a row, and fewer of them with how many more there are."""
    return [
        ", ".join(names[:shown]) + (f" +{len(names) - shown}" if shown < len(names) else "")
        for shown in range(len(names), 0, -1)
    ]
