"""The panel: what the signs mean so far. What does not fit is left out whole, the least telling first, and counted."""

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from typing import TYPE_CHECKING

from wardexam.exam.examination import Examination, Findings
from wardexam.exam.text import capital
from wardexam.note.reasons import action
from wardexam.note.suggestion import alike_words, contradiction_text, pair_text
from wardexam.note.switched_off import off_short
from wardexam.note.telling import worth_telling
from wardexam.reasoning.rules.change import compare
from wardexam.reasoning.rules.change_words import fitting, new_words, text_of
from wardexam.reasoning.rules.stay import Stay, seen_last
from wardexam.terminal.canvas import Line
from wardexam.terminal.urgent import GRAVEST, told

if TYPE_CHECKING:
    from wardexam.reasoning.reading import Reading, Site
    from wardexam.reasoning.rules.reason import Urgency

CAUTION_IN_SHORT = "Rules nothing out. Follow local policy."
WHERE = "Where (suggestion)"
CHANGED = {"worse": "-", "better": "+", "neither": "~"}
SHORT = 60  # columns of whether it changed
MOST = 7  # changes that are said
FIRST = 4  # of them, those that weigh most where there is room
WIDE = 60  # columns from which a site's chance is drawn as a bar as well
BAR = 8  # columns of it
FOUND = (
    "finding",
    "before",
    "stated",
    "told",
)  # what is weighed for and against a site here: never a limb that was complained of or left out


# Most lines are as they were a key ago, and breaking them is the dear part.
@lru_cache(1024)
def _wrap(text: str, width: int, indent: str = "") -> tuple[str, ...]:
    return tuple(textwrap.wrap(text, width, subsequent_indent=indent, break_long_words=False)) or (
        "",
    )


@dataclass(frozen=True, slots=True)
class Block:
    """Things of one kind under one word.

    Attributes:
        word: What they are; stands before the first of them.
        items: Each of them whole, the most telling first.
        weights: When each gives way, the highest first.
        style: How they are drawn.
        between: What stands between two of them; an end of line where each begins one.
        foot: Whether it stands at the foot of the panel.
    """

    word: str
    items: tuple[str, ...]
    weights: tuple[int, ...]
    style: str = ""
    between: str = ", "
    foot: bool = False

    def lines(self, count: int, width: int) -> list[Line]:
        """So many of the things, and how many more there are."""
        if not count:
            return []
        left = len(self.items) - count
        more = [f"{left} more"] if left else []
        if self.between == "\n":
            said = [*self.items[:count], *more]
            lines = [line for text in said for line in _wrap(text, width, "  ")]
            head: list[Line] = [[(self.word, "accent")]] if self.word else []
            return head + [[(line, self.style)] for line in lines]
        text = self.between.join(self.items[:count]) + (f"; {more[0]}" if more else "")
        first, *others = _wrap(f"{self.word}  {text}" if self.word else text, width, "  ")
        lead = len(self.word) if first.startswith(self.word) else 0
        line: Line = [(first[:lead], "accent"), (first[lead:], self.style)]
        return [line if lead else [(first, self.style)], *([(o, self.style)] for o in others)]


@dataclass(frozen=True, slots=True)
class Panel:
    """What the panel is drawn from.

    Attributes:
        examination: What was entered.
        urgency: How urgent it is.
        reading: What it may mean; None before there is any.
        now: What the clock says.
        failed: Whether the reasoning failed.
        previous: The examination before.
        stay: The examinations of the stay before, for since when each sign changed.
        fell: That an accepted suggestion is out of the note, and how it is accepted anew; empty where none is.
    """

    examination: Findings
    urgency: "Urgency"
    reading: "Reading | None"
    now: datetime
    failed: bool = False
    previous: Examination | None = None
    stay: Stay | None = None
    fell: str = ""


def panel_lines(
    of: Panel, width: int, height: int, *, line: int, suggested: str, why: str, bar: str
) -> list[Line]:
    """What the signs mean, in so many lines.

    What is urgent and has no room in the line above the panel is never left out, nor is the caution. All else
    stands in the order of its weight, each thing whole.

    Args:
        of: What it is drawn from.
        width: Columns.
        height: Lines.
        line: Columns of the line above that says how urgent it is.
        suggested: The key that goes to the suggested sign.
        why: The key that shows every reason.
        bar: What a site's chance is drawn with where there is room.
    """
    urgency, fell = of.urgency, of.fell
    top: list[Line] = []
    if urgency.reasons or urgency.switched_off:
        left = told(urgency, line, of.now, why).left if urgency.reasons else (off_short(urgency),)
        top = [[(text, "strong" if n == 0 and len(left) > 1 else "")] for n, said in enumerate(left)
               for text in _wrap(said if n else capital(said), width)]  # fmt: skip
    caution: list[Line] = [[(text, "quiet")] for text in _wrap(CAUTION_IN_SHORT, width)]
    blocks = [
        Block("", (fell,) if fell else (), (0,) if fell else (), "warn", between="\n"),
        *_meaning(of, width, suggested, bar),
        *_more(of, wide=width >= WIDE),
    ]
    counts = _fit(blocks, width, height - len(top) - len(caution))
    shown = [(b, b.lines(c, width)) for b, c in zip(blocks, counts, strict=True)]
    upper = [text for block, lines in shown if not block.foot for text in lines]
    lower = [text for block, lines in shown if block.foot for text in lines] + caution
    spare = height - len(top) - len(upper) - len(lower)
    if top and spare > 0:
        top, spare = [*top, []], spare - 1
    return top + upper + [[] for _ in range(spare)] + lower


def _fit(blocks: Sequence[Block], width: int, room: int) -> list[int]:
    """How many things of each block show: the heaviest first, as long as they fit."""
    counts, heights, full = [0] * len(blocks), [0] * len(blocks), set[int]()
    turns = sorted((w, n, k) for n, b in enumerate(blocks) for k, w in enumerate(b.weights, 1))
    for _, number, count in turns:
        if number in full:
            continue
        height = len(blocks[number].lines(count, width))
        if sum(heights) - heights[number] + height <= room:
            counts[number], heights[number] = count, height
        else:
            full.add(number)
    return counts


def _meaning(of: Panel, width: int, suggested: str, bar: str) -> list[Block]:
    """Where it may be, what that rests on and what speaks against it, sides that differ, what to examine next."""
    reading = of.reading
    if of.failed:
        return [Block("", ("Reasoning unavailable; the grid works on.",), (1,), "warn")]
    if reading is None or not reading.entered:
        waits = reading is None and of.examination.findings
        said = "Working it out." if waits else "Nothing entered yet."
        return [Block(WHERE, (said,), (1,), between="\n")]
    sites = [
        s
        for s in reading.sites
        if worth_telling("site_in_panel", s.probability) and s.region != "other"
    ]
    places = tuple(_site(site, width, bar) for site in sites) or ("no site stands out",)
    title = WHERE if reading.fits_one else "Where: NO ONE LESION FITS"
    clashes = tuple(contradiction_text(c) for c in reading.contradictions)
    near = len(sites) > 1 and worth_telling("second_in_panel", sites[1].probability)
    rival = 2 if near else 5
    blocks: list[Block] = [
        Block("", clashes, (2,) * len(clashes), "warn", between="\n"),
        _Sites(
            title,
            places,
            tuple([1, rival, 8, 12, 13, 14, 15][: len(places)]) + (16,) * (len(places) - 7),
            between="\n",
            chances=tuple(site.probability for site in sites),
        ),
        Block("", (reading.before,) if reading.before else (), (2,) if reading.before else (), "quiet"),
    ]  # fmt: skip
    if reading.pair:
        blocks.append(Block("", (pair_text(reading),), (2,), "warn"))
    blocks.append(_flow("Rests on", [e.text for e in reading.supports if e.kind in FOUND], 6))
    against = [e.text for e in reading.opposes if e.kind in FOUND]
    odd = [text for text in reading.unexplained if text not in against]
    blocks.append(_flow("Against", against + [f"not explained: {text}" for text in odd], 7))
    blocks.append(_flow("Published cases like it", alike_words(reading), 10))
    differ = [
        a.text for a in reading.asymmetries if worth_telling("sides_that_differ", a.probability)
    ]
    blocks.append(_flow("Sides differ", differ, 4, "; "))
    blocks.append(_flow("Level", [reading.level_note] if reading.level_note else [], 7))
    if sign := reading.proposed:
        meaning = "; ".join(f"{a}: {p}" for a, p in sign.outcomes[:2])
        asked, whole = sign.text, f"{sign.text}. {meaning}" if meaning else sign.text
        blocks.append(_Next(f"Next ({suggested})", (asked, whole), (3, 9), foot=True))
    return blocks


def _flow(word: str, items: Sequence[str], weight: int, between: str = ", ") -> Block:
    """Things that follow each other on one line: the first weighs most."""
    weights = tuple(weight if n == 0 else 9 + n for n in range(len(items)))
    return Block(word, tuple(items), weights, between=between)


@dataclass(frozen=True, slots=True)
class _Sites(Block):
    """Sites: each has its own form, made in columns already.

    Attributes:
        chances: How likely each is.
    """

    chances: tuple[float, ...] = ()

    def lines(self, count: int, width: int) -> list[Line]:
        """So many sites, how many more are named, and how likely the first of them is."""
        if not count:
            return []
        left = len(self.items) - count
        said = [line for item in self.items[:count] for line in item.split("\n")]
        lines: list[Line] = [[(self.word, "accent")], *([(text, "")] for text in said)]
        more = (
            f"{left} more, {'up to ' if left > 1 else ''}{round(self.chances[count] * 100)}%"
            if left
            else ""
        )
        return lines + ([[(more, "quiet")]] if left else [])


class _Next(Block):
    """The sign to examine next: by its name alone, or with what it would tell."""

    __slots__ = ()

    def lines(self, count: int, width: int) -> list[Line]:
        """The name, or all of it."""
        if not count:
            return []
        return Block(self.word, (self.items[count - 1],), (1,)).lines(1, width)


def _site(site: "Site", width: int, bar: str) -> str:
    """A site: its name, wrapped; at the right how likely it is, the word before the number."""
    several = site.levels and site.levels[0] != site.levels[1]
    name = (
        f"{site.name} ({site.levels[0]}-{site.levels[1]})" if several and site.levels else site.name
    )
    word = site.word.removesuffix(" by these signs")
    likely = f"{word} {round(site.probability * 100):2}%"
    if width >= WIDE:
        likely += f" {bar * round(site.probability * BAR):<{BAR}}"
    first, rest = _first_words(name, width - len(likely) - 1)
    lines = [f"{first:<{width - len(likely)}}{likely}"] if first else [f"{likely:>{width}}"]
    return "\n".join((*lines, *_wrap(f"  {rest}", width, "  "))) if rest else lines[0]


def _first_words(text: str, room: int) -> tuple[str, str]:
    """As many words as fit in so many columns, and the rest."""
    words, count = text.split(" "), 0
    while count < len(words) and len(" ".join(words[: count + 1])) <= room:
        count += 1
    return " ".join(words[:count]), " ".join(words[count:])


def _more(of: Panel, *, wide: bool) -> list[Block]:
    """What changed, and the other reasons where a screen has room for them."""
    previous, blocks, others = of.previous, [], of.urgency.reasons[1:]
    # Where there is little room the first other reason that is as grave as can be and open stands there in short.
    grave = bool(others) and not wide and others[0].urgency == GRAVEST and others[0].due is not None
    change = compare(previous, of.examination) if previous else None
    if previous and change and (change.compared or change.signs or change.first_found):
        head = fitting(change, SHORT)
        more = [(mine[0], text_of(mine)) for mine in change.together]
        said = [
            head,
            *(f"{CHANGED[s.way]} {text}" for s, text in more if text not in head),
        ]
        said += [new] if (new := new_words(change)) not in head else []
        seen = seen_last(change.gravest[0], of.stay, previous) if change.signs else previous
        word = f"Since {seen.at:%d %b %H:%M}"
        weights = tuple(5 if wide and n < FIRST else 10 + n for n in range(len(said[: MOST + 1])))
        if grave:  # what changed does not give way to it
            weights = (2, *weights[1:])
        blocks.append(Block(word, tuple(said[: MOST + 1]), weights, between="; "))
    rest = tuple(range(20, 20 + len(others)))
    if grave:
        brief = tuple(f"{r.brief}: {r.first or r.usual_image or r.call}" for r in others)
        blocks.append(Block("Also", brief, (2, *rest[1:]), between=". "))  # before the next sign
    elif others:
        said_whole = tuple(capital(f"{r.text}: {action(r, of.now)}") for r in others)
        blocks.append(Block("Also", said_whole, rest, between="\n"))
    return blocks
