"""A year of a ward of forty beds, drawn from a seed: the truth as plain values, and the records that tell it.

The truth is drawn first; the records are made to tell it. What a review counts can so be counted a second
time from the truth alone, which knows no record and no table of the program.
"""

import random
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta

from wardexam.exam.acts import Act, Raised
from wardexam.exam.examination import Amendment, Examination, Patient
from wardexam.exam.findings import Finding, RestNormal
from wardexam.exam.kept_reading import KeptReading, KeptSite
from wardexam.exam.outcome import Outcome
from wardexam.records.repository import Arrival

BEGIN, END = datetime(2025, 1, 1, tzinfo=UTC), datetime(2026, 1, 1, tzinfo=UTC)
NOW = datetime(2026, 1, 20, 12, tzinfo=UTC)
BEDS = 40
SITES = ("cauda", "cord", "brain", "root", "nerve", "none")

# Each kind of patient: rule, level of the rule, minutes of its limit, whether its clock runs from the request.
KINDS = {
    "cauda": ("cauda_equina", 3, 240, True),
    "cord": ("metastatic_compression", 3, 1440, False),
    "other_now": ("stroke", 3, 60, False),
    "other_today": ("both_legs", 2, 720, False),
    "mild": ("numb_undated", 1, None, False),
}
# Each item of the standards: what is found, stated or asked where it was done.
ITEMS = {
    "cauda": {
        "saddle or perianal sensation": "perianal right, perianal left",
        "post-void residual": "post_void_residual midline",
        "bladder, asked or examined": "flag bladder_bowel",
        "sexual function, asked": "flag sexual",
        "power of the legs, L3 to S1": "stated power",
        "knee and ankle jerks": "knee right, knee left, ankle right, ankle left",
        "sensation of a leg": "pin_L5 right, pin_L5 left",
        "anal tone or squeeze (not needed)": "anal_tone midline",
    },
    "cord": {
        "sensory level looked for": "level_pin right, level_pin left",
        "power of the legs": "stated power",
        "jerks of arms and legs": "biceps right, biceps left, triceps right, triceps left, knee right, knee left,"
        " ankle right, ankle left",
        "plantars": "plantar right, plantar left",
        "saddle or perianal sensation": "saddle right, saddle left",
        "bladder, asked or examined": "bladder midline",
        "walking, seen or asked": "flag gait_lost",
        "anal tone or squeeze (not needed)": "anal_squeeze midline",
    },
}  # fmt: skip
# What an answer may be, of any sign that is used here.
ANSWERS = {
    "perianal": "normal", "post_void_residual": "measured", "knee": "2+", "ankle": "2+", "biceps": "2+", "triceps": "2+",
    "pin_L5": "normal", "anal_tone": "normal", "anal_squeeze": "normal", "level_pin": "none", "plantar": "flexor",
    "saddle": "normal", "bladder": "normal",
}  # fmt: skip
GRADED = {"knee", "ankle", "biceps", "triceps"}


@dataclass
class Visit:
    """One examination as it was: when, the level (None where it was not kept), which items were done."""

    at: datetime
    level: int | None
    items: set[str]
    saying: tuple[tuple[str, str, float], ...] = ()  # what was suggested: site, side, chance


@dataclass
class Truth:
    """One stay as it was; times of what was done in minutes from the first examination."""

    patient: str
    kind: str
    recheck: int | None
    discharged: datetime | None
    visits: list[Visit]
    called: float | None = None
    asked: float | None = None
    imaged: float | None = None
    done: float | None = None
    not_needed: bool = False
    positive: bool | None = None
    site: str | None = None
    side: str | None = None
    concluded: datetime | None = None
    raised_at: int = 0  # at which visit the reason was first raised
    amended: bool = False
    made: list[Examination] = field(default_factory=list)


def _draw(draw: random.Random, number: int, start: datetime, leaves: datetime | None) -> Truth:
    kind = draw.choices(list(KINDS), (3, 3, 2, 2, 4))[0]
    level = KINDS[kind][1]
    recheck = draw.choice((None, 12, 24, 24))
    visits, at = [], start
    raised_at = draw.choices((0, 1), (5, 1))[0]
    until = min(leaves or NOW, NOW)
    while at < until and len(visits) < 8:
        items = {name for name in ITEMS.get(kind, ()) if draw.random() < 0.7}
        known = draw.random() > 0.03
        now = level if len(visits) >= raised_at else draw.choice((0, 1))
        saying = ()
        if draw.random() < 0.9:
            sites = draw.sample(SITES, 4)
            chances = sorted((draw.random() for _ in range(4)), reverse=True)
            saying = tuple(
                (s, draw.choice(("right", "left", "midline", "none")), round(c, 4))
                for s, c in zip(sites, chances, strict=True)
            )
        visits.append(Visit(at, now if known else None, items, saying))
        at += timedelta(minutes=round((recheck or 24) * 60 * draw.uniform(0.7, 1.3)))
    truth = Truth(f"sim{number:07}", kind, recheck, leaves, visits, raised_at=raised_at)
    truth.amended = draw.random() < 0.2

    def maybe(chance: float, longest: float) -> float | None:
        return float(round(draw.uniform(1, longest))) if draw.random() < chance else None

    if raised_at < len(visits) and kind != "mild":
        truth.called, truth.asked = maybe(0.8, 500), maybe(0.7, 200)
        truth.not_needed = draw.random() < 0.15
        if draw.random() < 0.6:
            truth.imaged = float(round(draw.uniform(200, 2000)))
            truth.done = truth.imaged + float(round(draw.uniform(5, 120)))
            if number % 20 == 0:  # a slip: the result stands before the image
                truth.done = truth.imaged - float(number % 7 + 1)
            if number % 23 == 0:  # the image was done before anything was found
                truth.imaged = -float(number % 90 + 1)
        elif draw.random() < 0.3:
            truth.done = float(round(draw.uniform(200, 2000)))
    if draw.random() < 0.7:
        truth.positive = draw.choice((True, False, None))
        truth.site = draw.choice((*SITES, None))
        truth.side = draw.choice(("right", "left", "midline", None)) if truth.site else None
        last = visits[-1].at
        imaged = _imaged(truth)
        truth.concluded = max(last, imaged or last) + timedelta(hours=draw.uniform(1, 90))
        if truth.site is None and truth.positive is None and imaged is None:
            truth.positive = False
    return truth


def _since(truth: Truth) -> datetime | None:
    """When the reason was first raised and kept so."""
    known = [v for v in truth.visits[truth.raised_at :] if v.level is not None]
    return known[0].at if known else None


def _imaged(truth: Truth) -> datetime | None:
    since = _since(truth)
    return since + timedelta(minutes=truth.imaged) if since and truth.imaged is not None else None


def truths(seed: int, beds: int = BEDS) -> list[Truth]:
    """Every stay of the year, and some that begin before it or end after it."""
    draw, made = random.Random(seed), []
    for _ in range(beds):
        at = BEGIN - timedelta(days=draw.uniform(0, 12))
        while at < END + timedelta(days=3):
            length = timedelta(days=draw.uniform(1, 14))
            leaves = at + length if at + length < NOW else None
            truth = _draw(draw, len(made), at.replace(microsecond=0, second=0), leaves)
            if truth.visits:
                made.append(truth)
            at += length + timedelta(days=draw.uniform(0, 1))
    return made


# --- the records that tell it


def _findings(items: set[str], kind: str) -> dict:
    findings, flags, stated = {}, {}, ()
    for name in sorted(items):
        told = ITEMS[kind][name]
        if told.startswith("flag "):
            flags[told.removeprefix("flag ")] = "no"
        elif told == "stated power":
            stated = tuple(
                RestNormal(part="power", limb=limb) for limb in ("right leg", "left leg")
            )
        else:
            for place in told.split(", "):
                sign, side = place.split()
                findings[place] = Finding(
                    sign=sign, side=side, answer=ANSWERS[sign], scale="conventional" if sign in GRADED else None,
                    amount=40 if sign == "post_void_residual" else None,
                )  # fmt: skip
    return {"findings": tuple(findings.values()), "flags": flags, "rest_normal": stated}


def _acts(truth: Truth, since: datetime | None) -> tuple[Act, ...]:
    if since is None:
        return ()
    rule = KINDS[truth.kind][0]
    told = {"called": truth.called, "asked": truth.asked, "done": truth.done}
    acts = [
        Act(rule=rule, kind=kind, what="x", by="Dr Ash", at=since + timedelta(minutes=minutes))
        for kind, minutes in told.items()
        if minutes is not None
    ]
    if truth.not_needed:
        at = since + timedelta(minutes=30)
        acts.append(Act(rule=rule, kind="not_needed", what="x", by="Dr Ash", at=at, on=()))
    return tuple(acts)


def arrival(truth: Truth) -> Arrival:
    """The records of one stay."""
    rule, since = KINDS[truth.kind][0], _since(truth)
    acts, made = _acts(truth, since), []
    for number, visit in enumerate(truth.visits):
        raised = None
        if visit.level is not None:
            mine = number >= truth.raised_at and since is not None
            rows = [Raised(rule=rule, since=since)] if mine else []
            if not mine and visit.level == 1:
                rows = [Raised(rule="numb_undated", since=visit.at)]
            raised = tuple(rows)
        reading = None
        if visit.saying:
            sites = tuple(
                KeptSite(id=f"{s}.{d}", site=s, side=d, chance=c) for s, d, c in visit.saying
            )
            reading = KeptReading(sites=sites, program="0", tables="0")
        # What was done is kept with the last examination, as a further revision would.
        own = acts if number == len(truth.visits) - 1 else ()
        first = Examination(
            id=f"{truth.patient}e{number:03}", patient=truth.patient, examiner=f"Dr {'ABC'[number % 3]}", at=visit.at,
            raised=raised, reading=reading, acts=own, **_findings(visit.items, truth.kind),
        )  # fmt: skip
        made.append(first)
        if truth.amended:
            amendment = Amendment(by="Dr B", at=visit.at + timedelta(minutes=1), why="x")
            made.append(first.model_copy(update={"revision": 2, "amendment": amendment}))
    patient = Patient(
        id=truth.patient, bed="A1", name=f"Invented {truth.patient}", number=f"40-{truth.patient[3:]}",
        recheck_hours=truth.recheck, admitted=truth.visits[0].at, discharged=truth.discharged,
    )  # fmt: skip
    outcomes = ()
    if truth.concluded:
        outcomes = (Outcome(
            patient=truth.patient, by="Dr Z", at=truth.concluded, imaged=_imaged(truth), site=truth.site, side=truth.side,
            positive={True: "yes", False: "no", None: None}[truth.positive],
        ),)  # fmt: skip
    return Arrival(patient, tuple(made), outcomes=outcomes)
