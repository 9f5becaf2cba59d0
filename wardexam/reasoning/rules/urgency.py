"""How urgent it is: rules from published guidance on symptoms and signs.

Rules are rows of `urgency.toml`. What was not examined or not asked never fires and never calms. The
inferred site can raise urgency and never lower it. Silence and "rest normal" are not looked at.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any

from wardexam.anatomy.catalogue import SEGMENTS
from wardexam.errors import TableError
from wardexam.exam.examination import Examination
from wardexam.exam.findings import Finding
from wardexam.exam.flags import flag_names, flags
from wardexam.reasoning.reading import Reading
from wardexam.reasoning.rules.change import PATTERNS, compare
from wardexam.reasoning.rules.standing import over
from wardexam.reasoning.tables import read

# Own plain words, least to most.
WORDS = ("none raised", "within days", "today", "now")
# Beside a rule that fired earlier in the stay, its signs not examined and its flags not asked again.
EARLIER = " (earlier)"
POLICY = "Follow local policy."
NOT_EXCLUDED = "Flags not asked; signs alone do not exclude an emergency."


@dataclass(frozen=True, slots=True)
class Reason:
    """One rule that fired: why, what is usually imaged and who is usually called, and its source."""

    rule: str
    urgency: int
    text: str
    image: str
    call: str
    source: str


@dataclass(frozen=True, slots=True)
class Urgency:
    """The urgency, 0 to 3, its word, the reasons (gravest first), the flags not asked and those said yes."""

    level: int
    word: str
    reasons: tuple[Reason, ...]
    not_asked: tuple[str, ...]
    answered_yes: tuple[str, ...]
    caution: str


def _has(examination: Examination, sign: str, answers: tuple[str, ...]) -> bool:
    return any(f.sign == sign and f.answer in answers for f in examination.findings)


def _weak(finding: Finding) -> bool:
    return finding.row.answers == "mrc" and finding.answer not in (None, "5", "4+")


def _limbs(examination: Examination) -> set[tuple[str, str]]:
    return {
        (f.row.limb, f.side)
        for f in examination.findings
        if _weak(f) and f.sign != "shoulder_shrug"
    }


def _focal(examination: Examination) -> bool:
    """Weakness of the face or a limb, other than of both legs, or a cortical sign."""
    limbs = _limbs(examination)
    both_legs = {("leg", "right"), ("leg", "left")} <= limbs
    cortical = ("aphasia", "neglect", "field_loss", "gaze_palsy", "dysarthria")
    return (
        (bool(limbs) and not both_legs)
        or any(_has(examination, s, ("present", "slight", "marked")) for s in cortical)
        or any(f.sign == "face_lower" and _weak(f) for f in examination.findings)
    )


def _level(examination: Examination) -> bool:
    return any(f.row.answers == "level" and f.answer in SEGMENTS for f in examination.findings)


def _low_reflexes(examination: Examination) -> bool:
    low = [
        f for f in examination.findings if f.scale and f.meaning in ("absent", "trace", "reduced")
    ]
    return len(low) >= 3 and {"right", "left"} <= {f.side for f in low}


# The named conditions on signs; each looks only at what was found.
CONDITIONS: dict[str, Callable[[Examination], bool]] = {
    "saddle_loss": lambda e: any(f.answer in ("absent", "reduced") for f in e.findings if f.row.limb == "saddle" and f.row.answers == "sensation"),
    "sphincter": lambda e: _has(e, "bladder", ("altered", "retention", "incontinence")) or _has(e, "bowel", ("incontinence",))
    or _has(e, "anal_tone", ("absent", "reduced")) or _has(e, "anal_squeeze", ("absent", "reduced")),
    "residual_200": lambda e: any(f.sign == "post_void_residual" and (f.amount or 0) >= 200 for f in e.findings),
    "both_legs_weak": lambda e: {("leg", "right"), ("leg", "left")} <= _limbs(e),
    "sensory_level": _level,
    "upper_motor_legs": lambda e: (
        _has(e, "plantar", ("extensor",)) or _has(e, "clonus_ankle", ("sustained",))
    ) and (_level(e) or {("leg", "right"), ("leg", "left")} <= _limbs(e) or all(
        (f := e.finding("plantar", s)) is not None and f.answer == "extensor" for s in ("right", "left")
    )),
    "extensor_plantar": lambda e: _has(e, "plantar", ("extensor",)),
    "leg_weakness": lambda e: any(limb == "leg" for limb, _ in _limbs(e)),
    "any_weakness": lambda e: bool(_limbs(e)),
    "weakness": lambda e: bool(_limbs(e)) or e.context.complaint in ("weak_leg", "weak_arm", "weak_one_side", "weak_all")
    or e.flags.get("progressive") == "yes",
    "back_pain": lambda e: e.context.complaint == "back_pain" or e.context.pain in ("back", "radiating"),
    "sudden_onset": lambda e: e.context.onset == "sudden",
    "within_weeks": lambda e: e.context.onset != "longer",
    "onset_days": lambda e: e.context.onset in ("hours", "days"),
    "focal_or_cortical": _focal,
    "all_limbs_weak_low_reflexes": lambda e: _low_reflexes(e) and {("leg", "right"), ("leg", "left")} <= _limbs(e)
    and e.context.onset in ("hours", "days", "weeks", "unknown"),
}  # fmt: skip


@cache
def rules() -> dict[str, dict[str, Any]]:
    """The rules by id.

    Raises:
        TableError: A rule speaks of an unknown flag, sign condition or change.
    """
    rows = read("rules/urgency.toml")
    known = {f"flag:{f}" for f in flag_names()} | {f"sign:{c}" for c in CONDITIONS}
    known |= {f"change:{pattern}" for pattern in ("worse", *PATTERNS)}
    for name, row in rows.items():
        for item in (*row["any"], *row["all"]):
            if item not in known:
                raise TableError(f"unknown condition '{item}'", where=f"urgency.toml, rule {name}")
    return rows


def _place(rule: str, fired: set[str]) -> int:
    """How many rules that fired too are said before this one, each because the next yields to it."""
    before = [r for r in rules().get(rule, {}).get("yields_to", ()) if r in fired]
    return 1 + max(_place(r, fired) for r in before) if before else 0


def _holds(examination: Examination) -> set[str]:
    """The flags said yes and the named conditions on signs that hold."""
    holds = {f"flag:{name}" for name, answer in examination.flags.items() if answer == "yes"}
    return holds | {f"sign:{n}" for n, condition in CONDITIONS.items() if condition(examination)}


def _fired(holds: set[str]) -> list[str]:
    return [n for n, row in rules().items() if holds & set(row["any"]) and holds >= set(row["all"])]


def assess(
    examination: Examination, previous: Examination | None, reading: Reading | None,
    wording: Mapping[str, Mapping[str, str]] | None = None,
) -> Urgency:  # fmt: skip
    """The urgency of an examination.

    Args:
        examination: What was found.
        previous: What stands from earlier in the stay, if anything (`wardexam.reasoning.rules.standing`):
            what is worse raises urgency, and a rule that fired on it fires until its signs are
            examined and its flags asked again.
        reading: The inferred sites, if any: they can raise urgency.
        wording: The hospital's own words for a rule's texts (`wardexam.reasoning.rules.wording`).
    """
    change = compare(previous, examination) if previous else None
    holds = _holds(examination)
    if change:
        holds |= {f"change:{name}" for name in change.patterns}
        if change.worse:
            holds.add("change:worse")
    now = _fired(holds)
    earlier = (
        [n for n in _fired(_holds(over(previous, examination))) if n not in now] if previous else []
    )
    fired = []
    for name in (*now, *earlier):
        own = (wording or {}).get(name, {})
        words = {**rules()[name], **own}
        if name == "worse" and change and "reason" not in own:
            words["reason"] = change.headline  # says what is worse
        text = words["reason"] + (EARLIER if name in earlier else "")
        fired.append(
            Reason(name, words["urgency"], text, words["image"], words["call"], words["source"])
        )
    if reading is not None and reading.entered >= 3:
        site = reading.by_findings or reading.sites[0]
        acute = examination.context.onset in ("sudden", "hours", "days")
        if site.urgent and site.probability >= 0.5:
            fired.append(Reason(
                "inferred_site", 2 if acute else 1, f"signs suggest: {site.name}", "as the site suggests", "senior on call", "the tool's reading; judgement",
            ))  # fmt: skip
    names = {r.rule for r in fired}
    fired.sort(key=lambda r: (-r.urgency, _place(r.rule, names)))
    level = max((r.urgency for r in fired), default=0)
    not_asked = tuple(f for f in flag_names() if f not in examination.flags)
    caution = POLICY if not not_asked else f"{POLICY} {NOT_EXCLUDED}"
    yes = tuple(row.short for name, row in flags().items() if examination.flags.get(name) == "yes")
    return Urgency(level, WORDS[level], tuple(fired), not_asked, yes, caution)
