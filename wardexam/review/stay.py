"""One patient's stay as a review sees it: when, what was examined, raised, done and suggested. No name, number or bed."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from typing import Any

from wardexam.anatomy.catalogue import catalogue
from wardexam.exam.examination import Examination
from wardexam.exam.findings import sides_of, statement_of
from wardexam.exam.in_error import counting
from wardexam.reasoning.rules.raised import as_counted
from wardexam.reasoning.rules.rule_table import LOWERED, rules
from wardexam.records.light_file import LightExamination, LightFile


@dataclass(frozen=True, slots=True)
class Done:
    """What was done about a reason: its rule, the kind and when."""

    rule: str
    kind: str
    at: datetime


@dataclass(frozen=True, slots=True)
class Suggested:
    """What the tool suggested with one save: when it was saved, and the first sites with side and chance."""

    at: datetime
    sites: tuple[tuple[str, str, float], ...]


@dataclass(frozen=True, slots=True)
class Seen:
    """One examination, as it stands in its last revision.

    Attributes:
        id: Its opaque identifier.
        at: When.
        level: How urgent, 0 to 3, by what was kept as raised; None where none was kept.
        raised: Since when each reason had been raised, by its rule; None where none was kept.
        acts: What was done about reasons, by this examination's own record.
        ended: Of these and of earlier ones, those that held no more once it was saved.
        suggested: What the tool suggested, for each revision that kept it.
        source: Where the signs, statements and questions are read when they are asked for.
    """

    id: str
    at: datetime
    level: int | None
    raised: dict[str, datetime] | None
    acts: tuple[Done, ...]
    ended: tuple[Done, ...]
    suggested: tuple[Suggested, ...]
    source: LightExamination

    @property
    def asked(self) -> frozenset[str]:
        """The flags that were answered, yes or no."""
        return frozenset(self.source.fields.get("flags") or ())

    @property
    def recorded(self) -> "Recorded":
        """What was examined in it."""
        stated = {(s["part"], s["limb"]) for s in self.source.fields.get("rest_normal") or ()}
        return Recorded(frozenset(self.source.named), frozenset(stated), self.asked)


@dataclass(frozen=True, slots=True)
class Recorded:
    """What was examined: signs with their sides, what was stated normal, questions answered."""

    signs: frozenset[tuple[str, str]] = frozenset()
    stated: frozenset[tuple[str, str]] = frozenset()
    flags: frozenset[str] = frozenset()

    def __or__(self, other: "Recorded") -> "Recorded":
        return Recorded(
            self.signs | other.signs, self.stated | other.stated, self.flags | other.flags
        )

    def whole(self, sign: str) -> bool:
        """Whether a sign was examined on each of its sides, or stated normal there."""
        return all(
            key in self.signs or (statement is not None and statement in self.stated)
            for key, statement in _keys(sign)
        )


@cache
def _keys(sign: str) -> tuple[tuple[tuple[str, str], tuple[str, str] | None], ...]:
    """A sign on each of its sides, with the statement that covers it there."""
    row = catalogue()[sign]
    return tuple(((sign, side), statement_of(row, side)) for side in sides_of(row))


@dataclass(frozen=True, slots=True)
class Ending:
    """What it was in the end, as a review needs it."""

    imaged: datetime | None
    positive: str | None
    site: str | None
    side: str | None
    at: datetime


@dataclass(frozen=True, slots=True)
class Stay:
    """A patient's stay.

    Attributes:
        patient: The opaque identifier.
        recheck_hours: The schedule as it stands now; None for none.
        discharged: When; None while on the ward.
        seen: The examinations in the order of their times.
        ending: What it was in the end; None where it was not recorded.
    """

    patient: str
    recheck_hours: int | None
    discharged: datetime | None
    seen: tuple[Seen, ...]
    ending: Ending | None

    @property
    def acts(self) -> tuple[Done, ...]:
        """All that was done about reasons, in the order of its time."""
        return tuple(sorted({a for s in self.seen for a in s.acts}, key=lambda a: a.at))

    def ended(self, before: datetime) -> frozenset[Done]:
        """What was done and holds no more, by the examinations before a moment."""
        return frozenset(a for s in self.seen if s.at < before for a in s.ended)


def _time(text: Any) -> datetime | None:
    return datetime.fromisoformat(text) if text else None


def _level(raised: Iterable[Mapping[str, Any]], acts: Iterable[Mapping[str, Any]]) -> int:
    """How urgent what was kept is; of a rule that an earlier version kept without its level, as its row and the acts say."""
    own, levels = list(acts), [0]
    for row in raised:
        level, rule = row.get("level", 0), rules().get(row["rule"])
        if rule and not level:
            held = [a["kind"] for a in (*row.get("acts", ()), *own) if a["rule"] == row["rule"] and not a.get("ended")]  # fmt: skip
            down = rule.lowers and "lowered" in held
            level = min(rule.urgency, LOWERED) if down else rule.urgency
        levels.append(level)
    return max(levels)


def _saved(fields: Mapping[str, Any]) -> datetime:
    """When a revision was made: at its amendment, else when the examination was begun."""
    amendment = fields.get("amendment")
    return datetime.fromisoformat(amendment["at"] if amendment else fields["at"])


def _suggested(fields: Mapping[str, Any]) -> Suggested | None:
    kept = fields.get("reading")
    if not kept or not kept["sites"]:
        return None
    sites = tuple((s["site"], s["side"], float(s["chance"])) for s in kept["sites"])
    return Suggested(_saved(fields), sites)


def _done(act: Mapping[str, Any]) -> Done:
    return Done(act["rule"], act["kind"], datetime.fromisoformat(act["at"]))


def _seen(revisions: list[LightExamination], counted: Mapping[str, Any]) -> Seen:
    last = revisions[-1].fields
    raised, acts = counted.get(last["id"], last.get("raised")), last.get("acts") or ()
    every = (*acts, *(a for row in raised or () for a in row.get("acts") or ()))
    suggested = (_suggested(r.fields) for r in revisions)
    return Seen(
        last["id"],
        datetime.fromisoformat(last["at"]),
        None if raised is None else _level(raised, acts),
        None if raised is None else {r["rule"]: datetime.fromisoformat(r["since"]) for r in raised},
        tuple(map(_done, acts)),
        tuple(_done(a) for a in every if a.get("ended")),
        tuple(s for s in suggested if s),
        revisions[-1],
    )


def _counted(stay: Iterable[LightExamination]) -> dict[str, Any]:
    """What counts as raised by each examination of a stay in which one was entered in error."""
    made = [Examination.model_validate({**e.fields, "findings": e.findings}) for e in stay]
    before = counting(made)
    return {
        e.id: as_counted(e, before[:n]).model_dump(mode="json")["raised"]
        for n, e in enumerate(before)
    }


def stay_of(file: LightFile) -> Stay:
    """A stay from a patient's file.

    Raises:
        KeyError, TypeError, ValueError: A record is none of ours.
    """
    patient, outcome = file.patient, file.outcome
    counted = _counted(file.stay)
    seen = sorted((_seen(r, counted) for r in file.revisions.values()), key=lambda s: s.at)
    ending = None
    if outcome:
        recorded = datetime.fromisoformat(outcome["at"])
        ending = Ending(
            _time(outcome.get("imaged")), outcome.get("positive"), outcome.get("site"),
            outcome.get("side"), recorded,
        )  # fmt: skip
    return Stay(
        patient["id"], patient.get("recheck_hours"), _time(patient.get("discharged")),
        tuple(seen), ending,
    )  # fmt: skip
