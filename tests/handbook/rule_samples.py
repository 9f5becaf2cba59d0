"""Lines that fire each rule of urgency, made of the samples of its conditions (`urgency_conditions.toml`)."""

import itertools
import tomllib
from collections.abc import Iterator
from functools import cache
from pathlib import Path

from wardexam.exam.examination import Findings
from wardexam.exam.onset import slowness
from wardexam.exam.typed import read_line
from wardexam.reasoning.rules.firing import Firing
from wardexam.reasoning.rules.rule_table import rules
from wardexam.reasoning.rules.standing import over
from wardexam.reasoning.rules.urgency import assess

SAMPLES: dict[str, dict[str, list[str]]] = tomllib.loads(
    (Path(__file__).parent / "urgency_conditions.toml").read_text(encoding="utf-8")
)
# What a change is shown by: what was found before, what is found now.
CHANGES = {
    "change:one_sided_face_arm_leg": ("power_arm 5/5 power_leg 5/5", "power_arm 5/2 power_leg 5/2"),
    "change:cortical_sign_new": ("aphasia none", "aphasia marked"),
    "change:reflexes_lost_with_weakness": (
        "knee 2/2 ankle 2/2 power_leg 5/5", "knee 0/0 ankle 0/0 power_leg 3/3",
    ),
    "change:worse": ("power_leg 5/5", "power_leg 2/5"),
}  # fmt: skip
Shown = tuple[
    Findings | None, Findings
]  # an examination, and the one before it where one is needed


@cache
def findings(line: str) -> Findings:
    """The findings of a typed line."""
    return read_line(line).spelled_out()


def level_of(found: Findings) -> int:
    """The level of the rules that fire on what was found, 0 to 3: no acts, no stay, no reading."""
    return max((rules()[name].urgency for name in Firing(found).now), default=0)


def samples(item: str) -> list[str]:
    """Lines in which an item of a rule holds; none for a change, which needs two examinations."""
    kind, name = item.split(":")
    if kind == "change":
        return []
    return [f"flag:{name}=yes"] if kind == "flag" else SAMPLES[name]["holds"]


def joined(*lines: str) -> str:
    """Lines as one; of two stories the later one's word counts, of two answers to a sign the first stays."""
    words: list[str] = []
    seen: set[str] = set()
    for line in lines:
        parts = line.split()
        at = 0
        while at < len(parts):
            if "=" in parts[at]:
                name = parts[at].partition("=")[0]
                words = [w for w in words if not w.startswith(f"{name}=")]
                words.append(parts[at])
                at += 1
            else:
                if parts[at] not in seen:
                    words += parts[at : at + 2]
                    seen.add(parts[at])
                at += 2
    return " ".join(words)


def fired(examination: Findings, before: Findings | None = None) -> set[str]:
    """The rules that an examination fires."""
    return {r.rule for r in assess(examination, before, None).reasons}


EACH = 2  # ways in which an item fires its rule, at most


@cache
def firing(rule: str) -> tuple[Shown, ...]:
    """What fires a rule: for each of its items a way or two."""
    row, made = rules()[rule], []
    for item in row.some:
        if item in CHANGES:
            before, now = (findings(line) for line in CHANGES[item])
            made.append((before, now))
            continue
        chosen = itertools.product(samples(item), *(samples(i) for i in row.every))
        shown = (findings(joined(*lines)) for lines in chosen)
        made += itertools.islice(((None, now) for now in shown if rule in fired(now)), EACH)
    return tuple(made)


def _calmer_with(age: int | None, found: Findings) -> bool:
    """Whether an examination of no known age is calmer at this one."""
    if age is None or found.context.age is not None:
        return False
    aged = found.model_copy(update={"context": found.context.model_copy(update={"age": age})})
    return level_of(aged) < level_of(found)


def both(one: Findings, other: Findings) -> Findings | None:
    """Two examinations of one patient as one; None where they contradict. Of two onsets the more acute
    one stands; one that is not known counts as the most acute.
    """
    here, there = one.context, other.context
    for field in ("complaint", "complaint_side", "pain", "bears_weight", "trauma", "age"):
        values = {getattr(here, field), getattr(there, field)} - {None}
        if len(values) > 1:
            return None
    if _calmer_with(here.age, other) or _calmer_with(there.age, one):
        return None  # an age that is not known counts as grown up, where the other is a child
    if any(
        (g := one.finding(*f.key)) and (g.answer, g.amount) != (f.answer, f.amount)
        for f in other.findings
    ):
        return None
    if any(one.flags.get(name, answer) != answer for name, answer in other.flags.items()):
        return None
    together = over(one, other)
    told = [o if o != "unknown" else "sudden" for o in (here.onset, there.onset)]
    onset = "unknown" if here.onset == there.onset == "unknown" else min(told, key=slowness)
    return together.model_copy(
        update={"context": together.context.model_copy(update={"onset": onset})}
    )


def _ways(first: str, second: str) -> Iterator[tuple[Shown, Shown, Shown]]:
    for (before, one), (earlier, other) in itertools.product(firing(first), firing(second)):
        together = both(one, other)
        past = both(before, earlier) if before and earlier else before or earlier
        if together is not None and (past is not None or not (before or earlier)):
            yield (before, one), (earlier, other), (past, together)


def pairs(ways: int | None = None) -> Iterator[tuple[str, str, Shown, Shown, Shown]]:
    """Every two rules, in so many ways or in all: their names, what fires the one, what the other, both as one patient."""
    for first, second in itertools.combinations(rules(), 2):
        for way in itertools.islice(_ways(first, second), ways):
            yield first, second, *way
