"""What was stated twice and cannot be both: named at once, and left out of where the lesion may be.

How urgent it is hears all of it, and of two answers to one sign the graver (`with_graver`).
"""

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from itertools import product

from wardexam.anatomy.catalogue import SEGMENTS, Sign, catalogue
from wardexam.errors import TableError
from wardexam.exam.answers import answer_sets, meanings
from wardexam.exam.examination import Also, Findings
from wardexam.exam.findings import Finding, RestNormal, Side
from wardexam.exam.wording import finding_text, named
from wardexam.reasoning.rules.graver import as_number, graver, meaning_rank
from wardexam.reasoning.tables import contradictions_row
from wardexam.tables import Columns, TableRow, checked_row

Key = tuple[str, Side]
REST = "rest of "


def _text(finding: Finding) -> str:
    """A finding in few words: of a level the segment alone."""
    if finding.row.answers == contradictions_row("level")["kind"]:
        return f"{named(finding)} {finding.answer}"
    return finding_text(finding)


class Half(Columns):
    """Some signs with some answers."""

    sign: tuple[str, ...]
    answers: tuple[str, ...] = ()
    meanings: tuple[str, ...] = ()

    def meets(self, finding: Finding) -> bool:
        """Whether a finding is one of these."""
        return finding.sign in self.sign and (
            finding.answer in self.answers or finding.meaning in self.meanings
        )


class Pair(TableRow):
    """Two things that cannot be so at once."""

    one: Half
    other: Half


@dataclass(frozen=True, slots=True)
class Contradiction:
    """Two statements that cannot both be so.

    Attributes:
        one: The one, in words.
        other: The other, in words.
        findings: The findings that they are, by sign and side.
        statements: The statements that the rest was normal that they are.
    """

    one: str
    other: str
    findings: tuple[Key, ...]
    statements: tuple[RestNormal, ...] = ()

    @property
    def text(self) -> str:
        """What was stated, in words: ``stated both left ankle 0 and left ankle clonus sustained``."""
        return f"stated both {self.one} and {self.other}"

    @property
    def brief(self) -> str:
        """The same as a question on one line of a screen, a side said once: ``Both left ankle 0 and ankle clonus sustained?``."""
        side = next((side for side in ("right ", "left ") if self.one.startswith(side)), "")
        return f"Both {self.one} and {self.other.removeprefix(REST).removeprefix(side)}?"


@cache
def pairs() -> tuple[Pair, ...]:
    """The pairs of the table.

    Raises:
        TableError: A row is malformed, or names a sign or an answer that there is not.
    """
    made = []
    for name, row in contradictions_row("pair").items():
        where = f"contradictions.toml, pair {name}"
        pair = checked_row(Pair, row, where)
        for half in (pair.one, pair.other):
            for sign in half.sign:
                if sign not in catalogue():
                    raise TableError(f"unknown sign '{sign}'", where)
                of = catalogue()[sign]
                known = set(meanings()) if of.tendon else set(answer_sets()[of.answers].codes)
                if unknown := {*half.answers, *half.meanings} - known:
                    raise TableError(f"unknown answer '{min(unknown)}' of {sign}", where)
        made.append(pair)
    return tuple(made)


@cache
def _signs() -> frozenset[str]:
    """The signs that any pair speaks of."""
    return frozenset(s for p in pairs() for half in (p.one, p.other) for s in half.sign)


def contradictions(found: Findings) -> tuple[Contradiction, ...]:
    """What was stated and cannot be both, in a fixed order; nothing where all goes together."""
    graded = [f for f in found.findings if f.answer is not None]
    return (*_of_pairs(graded), *_of_levels(graded, found.rest_normal), *_said_twice(found))


def _of_pairs(graded: list[Finding]) -> Iterator[Contradiction]:
    those = [f for f in graded if f.sign in _signs()]
    if len(those) < 2:
        return
    for pair in pairs():
        ones = [f for f in those if pair.one.meets(f)]
        others = [f for f in those if pair.other.meets(f)] if ones else []
        for one, other in product(ones, others):
            if one.side == other.side or "midline" in (one.side, other.side):
                yield Contradiction(_text(one), _text(other), (one.key, other.key))


@cache
def _skin(modality: str) -> tuple[Sign, ...]:
    """The dermatomes in which a level of a modality shows, from head to tail; the saddle is asked for apart."""
    apart = contradictions_row("level")["apart"]
    return tuple(
        s for s in catalogue().values() if s.id.startswith(f"{modality}_") and s.limb != apart
    )


def _first(sign: Sign) -> int:
    return min(SEGMENTS.index(segment) for segment in sign.segments)


def _of_levels(
    graded: list[Finding], statements: tuple[RestNormal, ...]
) -> Iterator[Contradiction]:
    row = contradictions_row("level")
    levels = [f for f in graded if f.sign in row["modality"]]
    for level in levels:
        skin = {s.id: s for s in _skin(row["modality"][level.sign])}
        beside = [f for f in graded if f.side == level.side and f.sign in skin]
        if level.answer == row["none"]:
            yield from _run(level, beside, skin)
            continue
        at = SEGMENTS.index(str(level.answer))
        for other in beside:
            below = _first(skin[other.sign]) > at
            if other.answer in row["kept" if below else "lost"]:
                yield Contradiction(_text(level), _text(other), (level.key, other.key))
        recorded = {f.key for f in graded}
        for stated in statements:
            if any(
                stated.covers(s, level.side) and (s.id, level.side) not in recorded and _first(s) > at
                for s in skin.values()
            ):  # fmt: skip
                yield Contradiction(
                    _text(level),
                    f"{REST}{stated.limb} {stated.part} normal",
                    (level.key,),
                    (stated,),
                )


def _run(level: Finding, beside: list[Finding], skin: dict[str, Sign]) -> Iterator[Contradiction]:
    """No level, and dermatomes of the trunk lost one after the other."""
    row = contradictions_row("level")
    order = [s.id for s in skin.values() if s.limb == row["limb"]]
    lost = {f.sign: f for f in beside if f.answer in row["lost"]}
    for start in range(len(order) - row["run"] + 1):
        those = [lost[s] for s in order[start : start + row["run"]] if s in lost]
        if len(those) == row["run"]:
            keys = tuple(f.key for f in beside if f.answer in row["lost"] and f.sign in order)
            yield Contradiction(_text(level), _text(those[0]), (level.key, *keys))
            return


def _said_twice(found: Findings) -> Iterator[Contradiction]:
    for also in found.also:
        one = found.finding(*also.finding.key)
        if one and (not also.group or _far_apart(also, one)):
            other = also.finding
            said = _text(other)
            if also.group:
                whole = also.group.replace("_", " ")
                said = _text(other).replace(other.row.name, whole, 1)
            yield Contradiction(_text(one), said, (one.key,))


def _far_apart(also: Also, one: Finding) -> bool:
    """Whether one of a group was found to be so much better that it is no exception."""
    row, other = contradictions_row("group"), also.finding
    if one.row.mrc:
        return bool((as_number(one) or 0.0) - (as_number(other) or 0.0) >= row["mrc"])
    if one.scale:
        lost = other.meaning in row["lost"]
        apart = meaning_rank(one.meaning) - meaning_rank(other.meaning)
        return bool(lost and apart >= row["tendon"])
    return bool(other.answer in row["lost"] and one.choice and one.choice.usual)


def left_out(found: Findings, clashes: tuple[Contradiction, ...]) -> Findings:
    """The same without what contradicts: such a sign counts as not known, and its silence says nothing."""
    if not clashes:
        return found
    keys = {k for c in clashes for k in c.findings}
    stated = [s for c in clashes for s in c.statements]
    findings = tuple(
        Finding(sign=f.sign, side=f.side, not_testable="other") if f.key in keys else f
        for f in found.findings
    )
    kept = tuple(s for s in found.rest_normal if s not in stated)
    return found.model_copy(update={"findings": findings, "rest_normal": kept})


def with_graver(found: Findings) -> Findings:
    """The same with the graver of two answers to one sign, where they contradict."""
    if not found.also:
        return found
    twice = {k for c in _said_twice(found) for k in c.findings}
    kept = {f.key: f for f in found.findings}
    for also in found.also:
        other = also.finding
        one = kept[other.key]
        if other.key in twice and graver(other, one.meaning, one.amount):
            kept[other.key] = other
    return found.model_copy(update={"findings": tuple(kept.values())})
