"""What was entered and what was said, by which version, for whoever looks into an incident: without names.

The opaque identifiers stay, so that the hospital finds the record. Doctors are numbered in the order in which
they come.
"""

import textwrap
from collections.abc import Iterable, Iterator, Sequence
from datetime import datetime
from typing import Any

from wardexam.exam.examination import Examination, Patient
from wardexam.exam.flags import every_flag
from wardexam.exam.in_error import IN_CAPITALS
from wardexam.exam.wording import in_words, named
from wardexam.governance.facts import ExaminationFact, RaisedFact, examination_fact
from wardexam.reasoning.model.hypotheses import fingerprint
from wardexam.reasoning.rules.own_alarm import OWN, rule_words
from wardexam.reasoning.rules.reason import Urgency
from wardexam.reasoning.rules.rule_table import WORDS, in_time
from wardexam.records.light_file import Event
from wardexam.tables import Columns
from wardexam.version import __version__

FORM = 1  # of what is written; one more where a field goes or changes its meaning
WIDTH = 80  # columns
LEFT_OUT = (
    "Names, numbers, bed, birth date and every free text are left out; doctors are numbered; ages from 90 on are "
    "one group. Opaque identifiers and times stay, so that the hospital finds the record."
)


class Entered(Columns):
    """A revision as it was entered and what was said with it; `by` are the doctors' numbers, who saved it last.

    `in_error` is whether it says that the examination was entered in error, and counts nowhere.
    """

    by: tuple[int, ...]
    in_error: bool
    entered: ExaminationFact


class ReasonNow(Columns):
    """A reason as this program gives it today."""

    rule: str
    urgency: int
    text: str
    by: str
    source: str


class Now(Columns):
    """What this program says today of the last revision, by its own tables and the hospital's own file.

    `same_tables` is whether the tables and modules are those with which the last revision was read; None where
    nothing was kept of that.
    """

    program: str
    tables: str
    same_tables: bool | None
    level: int
    reasons: tuple[ReasonNow, ...]
    switched_off: tuple[str, ...]


class TrailLine(Columns):
    """A line of the audit trail about the patient, its words left out; `by` is the doctor's number."""

    line: int
    at: datetime
    event: str
    by: int
    record: str
    hash: str


class Incident(Columns):
    """All that is written of one examination."""

    form: int
    written: datetime
    patient: str
    examination: str
    left_out: str
    revisions: tuple[Entered, ...]
    now: Now
    trail: tuple[TrailLine, ...]


class _Doctors:
    """Numbers for names, in the order in which they come."""

    def __init__(self) -> None:
        self._numbers: dict[str, int] = {}

    def number(self, name: str) -> int:
        return self._numbers.setdefault(name, len(self._numbers) + 1)


def incident(
    patient: Patient, revisions: Sequence[Examination], urgency: Urgency, trail: Iterable[Event], now: datetime
) -> Incident:  # fmt: skip
    """What is written of one examination.

    Args:
        patient: Whose it is.
        revisions: Its revisions, first to last.
        urgency: How urgent the last of them is by this program.
        trail: The events of the audit trail; those about other patients are passed over.
        now: When it is written.
    """
    doctors, last = _Doctors(), revisions[-1]
    entered = tuple(
        Entered(
            by=tuple(doctors.number(name) for name in r.hands),
            in_error=r.in_error,
            entered=examination_fact(r, patient, r.id),
        )
        for r in revisions
    )
    tables = fingerprint()
    return Incident(
        form=FORM,
        written=now,
        patient=patient.id,
        examination=last.id,
        left_out=LEFT_OUT,
        revisions=entered,
        now=Now(
            program=__version__,
            tables=tables,
            same_tables=last.reading.tables == tables if last.reading else None,
            level=urgency.level,
            reasons=tuple(
                ReasonNow(
                    rule=r.rule,
                    urgency=r.urgency,
                    text=rule_words(r.rule),
                    by=r.by,
                    source=r.source,
                )
                for r in urgency.reasons
            ),
            switched_off=tuple(off.rule for off in urgency.switched_off),
        ),
        trail=tuple(
            TrailLine(
                line=e.line, at=datetime.fromisoformat(e.at), event=e.event, by=doctors.number(e.by),
                record=e.record, hash=e.hash,
            )
            for e in trail
            if e.patient == patient.id
        ),
    )  # fmt: skip


def incident_json(made: Incident) -> dict[str, Any]:
    """An incident as a JSON object."""
    return made.model_dump(mode="json")


def incident_schema() -> dict[str, Any]:
    """The JSON Schema of what `incident_json` gives."""
    made = Incident.model_json_schema(mode="serialization")
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **made}


# --- as text


def _wrapped(text: str, indent: str = "") -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent=indent, subsequent_indent=f"{indent}  ")


def _raised(raised: RaisedFact) -> str:
    again = f", again {raised.again:%Y-%m-%d %H:%M}" if raised.again else ""
    return f"{WORDS[raised.urgency]}: {rule_words(raised.rule)} ({raised.rule}), since {raised.since:%Y-%m-%d %H:%M}{again}"


def _said(fact: ExaminationFact) -> Iterator[str]:
    """What was kept of what the tool said with a revision."""
    reading = fact.reading
    if reading is None:
        yield "No suggestion was kept with it."
    else:
        yield f"Suggested by wardexam {reading.program}, tables {reading.tables}:"
        yield from (f"  {s.id}: {s.chance:.1%}" for s in reading.sites)
        yield f"The suggestion was {'' if fact.suggestion_accepted else 'not '}accepted."
    if fact.raised is None:
        yield "No reasons of urgency were kept with it."
    elif not fact.raised:
        yield "No reason of urgency stood."
    else:
        yield "Reasons of urgency that stood:"
        yield from (f"  {_raised(r)}" for r in fact.raised)


def _entered(examination: Examination, fact: ExaminationFact) -> Iterator[str]:
    """What was entered in a revision."""
    told = {name: value for name, value in fact.story.model_dump().items() if value not in (None, "", "unknown")}  # fmt: skip
    yield f"Story: {', '.join(f'{n} {v}' for n, v in told.items()) or 'nothing told'}."
    signs = [f"{named(f)} {in_words(f)}{' (known)' if f.known else ''}" for f in examination.findings]  # fmt: skip
    yield f"Signs: {'; '.join(signs) or 'none examined'}."
    stated = [f"{s.part} in the {s.limb}" for s in fact.rest_normal]
    yield from [f"Stated normal: {'; '.join(stated)}."] if stated else []
    flags = [f"{every_flag()[name].short} {answer}" for name, answer in fact.flags.items()]
    yield f"Flags: {'; '.join(flags) or 'none asked'}."
    acts = [f"{a.kind} about {a.rule} {a.at:%Y-%m-%d %H:%M}{' (ended)' if a.ended else ''}" for a in fact.acts]  # fmt: skip
    yield from [f"Done: {'; '.join(acts)}."] if acts else []
    yield from [f"Left out: {', '.join(fact.left_out)}."] if fact.left_out else []


def incident_lines(made: Incident, revisions: Sequence[Examination]) -> Iterator[str]:
    """An incident as text of at most 80 columns.

    Args:
        made: What `incident` gave.
        revisions: The revisions that it was made from.
    """
    yield f"INCIDENT, examination {made.examination} of patient {made.patient}"
    yield from _wrapped(f"Written {made.written:%Y-%m-%d %H:%M}. {made.left_out}")
    for examination, entered in zip(revisions, made.revisions, strict=True):
        fact = entered.entered
        doctors = ", ".join(f"doctor {n}" for n in entered.by)
        yield ""
        yield f"REVISION {fact.revision}, {fact.at:%Y-%m-%d %H:%M UTC%z}, {doctors}"
        yield from [f"  {IN_CAPITALS}: it counts nowhere."] if entered.in_error else []
        for text in (*_entered(examination, fact), *_said(fact)):
            indent = " " * (2 + len(text) - len(text.lstrip()))
            yield from _wrapped(text.strip(), indent)
    now = made.now
    same = {None: "not known", True: "the same", False: "others"}[now.same_tables]
    yield ""
    yield "WHAT THIS PROGRAM SAYS OF THE LAST REVISION TODAY"
    yield from _wrapped(f"wardexam {now.program}, tables {now.tables}; as when it was saved: {same}.", "  ")  # fmt: skip
    yield f"  Urgency: {WORDS[now.level]}."
    for reason in now.reasons:
        limit = "" if reason.rule == OWN else f", {in_time(reason.by)}"
        said = f"{WORDS[reason.urgency]}: {reason.text} ({reason.rule}){limit} [{reason.source}]"
        yield from _wrapped(said, "  ")
    if now.switched_off:
        yield from _wrapped(f"Switched off here: {', '.join(now.switched_off)}.", "  ")
    yield ""
    yield "AUDIT TRAIL (the words of its lines left out)"
    for line in made.trail:
        record = f" record {line.record[:12]}" if line.record else ""
        said = f"{line.line}: {line.at:%Y-%m-%d %H:%M} {line.event} by doctor {line.by}{record}"
        yield from _wrapped(f"{said} hash {line.hash[:12]}", "  ")
