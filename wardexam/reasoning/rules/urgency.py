"""How urgent it is: rules from published guidance on symptoms and signs.

Rules are rows of `urgency.toml`, the conditions on signs that they name rows of `conditions.toml`. What was not examined or not asked never fires and never calms. The
inferred site can raise urgency and never lower it. Silence and "rest normal" are not looked at.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any

from wardexam.errors import TableError
from wardexam.exam.examination import Findings
from wardexam.exam.flags import flag_names, flags
from wardexam.reasoning.reading import Reading
from wardexam.reasoning.rules.change import PATTERNS, compare
from wardexam.reasoning.rules.conditions import conditions, holding
from wardexam.reasoning.rules.standing import over
from wardexam.reasoning.tables import conditions_row, read

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


@cache
def rules() -> dict[str, dict[str, Any]]:
    """The rules by id.

    Raises:
        TableError: A rule speaks of an unknown flag, sign condition or change.
    """
    rows = read("rules/urgency.toml")
    known = {f"flag:{f}" for f in flag_names()} | {f"sign:{c}" for c in conditions()}
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


def _holds(examination: Findings) -> set[str]:
    """The flags said yes and the named conditions on signs that hold."""
    holds = {f"flag:{name}" for name, answer in examination.flags.items() if answer == "yes"}
    return holds | {f"sign:{name}" for name in holding(examination)}


def _fired(holds: set[str]) -> list[str]:
    return [n for n, row in rules().items() if holds & set(row["any"]) and holds >= set(row["all"])]


def _by_site(examination: Findings, reading: Reading | None) -> list[Reason]:
    """What the inferred site raises."""
    row = conditions_row("inferred_site")
    if reading is None or reading.entered < row["entered"]:
        return []
    site = reading.by_findings or reading.sites[0]
    if not site.urgent or site.probability < row["probability"]:
        return []
    acute = examination.context.onset in row["acute"]
    level = row["urgency_acute" if acute else "urgency"]
    text = f"signs suggest: {site.name}"
    return [Reason("inferred_site", level, text, row["image"], row["call"], row["source"])]


def assess(
    examination: Findings, previous: Findings | None, reading: Reading | None,
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
    fired += _by_site(examination, reading)
    names = {r.rule for r in fired}
    fired.sort(key=lambda r: (-r.urgency, _place(r.rule, names)))
    level = max((r.urgency for r in fired), default=0)
    not_asked = tuple(f for f in flag_names() if f not in examination.flags)
    caution = POLICY if not not_asked else f"{POLICY} {NOT_EXCLUDED}"
    yes = tuple(row.short for name, row in flags().items() if examination.flags.get(name) == "yes")
    return Urgency(level, WORDS[level], tuple(fired), not_asked, yes, caution)
