"""How urgency does on presentations written by readers who had not seen its rules: `python -m tests.handbook.urgency`.

Prints what was missed (a lower level than a careful senior's least) and over-alert (today or now, above the
most that a careful senior would accept), with 95 % intervals (Wilson), over-alert with the onset answered and
not, and per rule. `--sealed` scores the part that is kept apart.
"""

import argparse
import hashlib
import math
import tomllib
from collections import Counter
from collections.abc import Iterator
from datetime import UTC, datetime
from functools import cache
from pathlib import Path

from wardexam import ready
from wardexam.exam.acts import Act
from wardexam.exam.typed import read_line
from wardexam.reasoning.rules.reason import Urgency
from wardexam.reasoning.rules.urgency import assess

FOLDER = Path(__file__).parent / "presentations"
LEVELS = {"routine": 0, "days": 1, "today": 2, "now": 3}
TODAY = 2
# The sets for development; all but the first were sealed until the table had been scored on them once.
DEVELOPMENT = {
    "urgent": (
        "urgent.toml",
        "urgent_second.toml",
        "urgent_third.toml",
        "urgent_fourth.toml",
        "urgent_fifth.toml",
    ),
    "benign": (
        "benign.toml",
        "benign_second.toml",
        "benign_third.toml",
        "benign_fourth.toml",
        "benign_fifth.toml",
    ),
}
SEALED = {"urgent": ("urgent_sealed.toml",), "benign": ("benign_sealed.toml",)}
# The sha256 of each file that is kept apart, so that nobody mends it.
SEALS = {
    "urgent_sealed.toml": "5f6212e8ae70c6305de0cd388952777af500f90e115f98745e470be19af7549f",
    "benign_sealed.toml": "9abb6025ee8cbb21f659f7d04c538943613620bd7dcb34366c8d2ec7676afaf8",
}
REMARKED = (
    "AB"  # whose writer gave a remark for each in that field, and no act of a doctor: not counted
)
WRITTEN = datetime(2026, 3, 2, 8, tzinfo=UTC)


def cases(name: str) -> list[dict[str, str]]:
    """The presentations of a file.

    Raises:
        FileNotFoundError: There is no such file (yet).
        ValueError: A file that is kept apart was changed, or has no seal.
    """
    data = (FOLDER / name).read_bytes()
    kept_apart = any(name in names for names in SEALED.values())
    if kept_apart and hashlib.sha256(data).hexdigest() != SEALS.get(name):
        raise ValueError(f"{name} was changed, or has no seal")
    return list(tomllib.loads(data.decode())["case"])


def part(kind: str, sealed: bool = False) -> list[dict[str, str]]:
    """The urgent or the benign presentations: the sets for development, or what is kept apart."""
    names = (SEALED if sealed else DEVELOPMENT)[kind]
    return [case for name in names for case in cases(name)]


def urgency_of(case: dict[str, str], *, reading: bool) -> Urgency:
    """The urgency of a presentation; what its doctor wrote down lowers the rules that allow it."""
    return _urgency_of(tuple(sorted(case.items())), reading)


@cache
def _urgency_of(written_down: tuple[tuple[str, str], ...], reading: bool) -> Urgency:
    case = dict(written_down)
    examination = read_line(case["entered"]).spelled_out()
    before = read_line(case["before"]).spelled_out() if "before" in case else None
    read = ready.engine().read(examination, silence=False) if reading else None
    found = assess(examination, before, read)
    if case.get("id", "-")[0] not in REMARKED and (written := case.get("recorded")):
        acts: tuple[Act, ...] = ()
        tried: set[str] = set()  # one that was gone beyond at once stays up
        while more := [
            r.rule for r in found.reasons if r.lowers and not r.lowered and r.rule not in tried
        ]:
            tried.update(more)
            # What stood within one that is brought down is said now, and written of too.
            acts += tuple(Act(rule=r, kind="lowered", what=written[:110], by="Dr Ash", at=WRITTEN) for r in more)  # fmt: skip
            found = assess(examination.model_copy(update={"acts": acts}), before, read)
    return found


def missed(
    sealed: bool = False, *, reading: bool = True
) -> Iterator[tuple[dict[str, str], Urgency]]:
    """Urgent presentations that get less than a careful senior's least."""
    for case in part("urgent", sealed):
        found = urgency_of(case, reading=reading)
        if found.level < LEVELS[case["level"]]:
            yield case, found


def over_alert(
    sealed: bool = False, *, reading: bool = True
) -> Iterator[tuple[dict[str, str], Urgency]]:
    """Benign presentations called today or now, above what a careful senior would accept."""
    for case in part("benign", sealed):
        found = urgency_of(case, reading=reading)
        if found.level >= TODAY and found.level > LEVELS[case["level"]]:
            yield case, found


def interval(part: int, whole: int) -> str:
    """A share in words with its 95 % interval (Wilson 1927)."""
    if not whole:
        return "0 of 0"
    z, p = 1.96, part / whole
    middle = (p + z * z / (2 * whole)) / (1 + z * z / whole)
    half = z * math.sqrt(p * (1 - p) / whole + z * z / (4 * whole * whole)) / (1 + z * z / whole)
    low, high = max(0.0, middle - half), min(1.0, middle + half)
    return f"{part} of {whole}, {p:.1%} ({low:.1%} to {high:.1%})"


def image_agrees(case: dict[str, str], found: Urgency, most: int | None = None) -> bool:
    """Whether one of the gravest reasons, or of the first so many, images the region that the reader named."""
    grave = [r for r in found.reasons if r.urgency == found.level][:most]
    wanted = case["image_region"]
    near = {"head": {"head", "head_and_neck_vessels"}, "head_and_neck_vessels": {"head", "head_and_neck_vessels"},
            "lumbosacral": {"lumbosacral", "whole_spine", "spine"}, "cervical": {"cervical", "whole_spine", "spine"},
            "spine": {"spine", "whole_spine", "lumbosacral", "cervical"}, "whole_spine": {"whole_spine", "spine"}}  # fmt: skip
    return any(r.region in near.get(wanted, {wanted}) for r in grave)


def main() -> None:
    """Score one part and say what was missed and what was called too urgent."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sealed", action="store_true", help="the part that was kept apart")
    sealed = parser.parse_args().sealed
    if sealed and not any((FOLDER / name).exists() for names in SEALED.values() for name in names):
        parser.error("nothing is kept apart: there is no file of SEALED")
    urgent = part("urgent", sealed)
    benign = part("benign", sealed)
    low, high = list(missed(sealed)), list(over_alert(sealed))
    agree = sum(image_agrees(c, urgency_of(c, reading=True)) for c in urgent)
    at_once = sum(image_agrees(c, urgency_of(c, reading=True), 1) for c in urgent)
    print(f"urgent, missed: {interval(len(low), len(urgent))}")
    print(f"urgent, a gravest reason images the named region: {interval(agree, len(urgent))}")
    print(f"urgent, the first reason does: {interval(at_once, len(urgent))}")
    print(f"benign, over-alert: {interval(len(high), len(benign))}")
    for answered in (True, False):
        those_asked = [c for c in benign if bool(c["onset_answered"]) == answered]
        those = [c for c, _ in high if bool(c["onset_answered"]) == answered]
        print(
            f"  onset {'answered' if answered else 'not answered'}: {interval(len(those), len(those_asked))}"
        )
    for case, found in low:
        print(
            f"missed {case['id']} ({case['level']}): {found.word}: {case['title']}: {case['entered']}"
        )
    for case, found in high:
        rules = ", ".join(r.rule for r in found.reasons if r.urgency > LEVELS[case["level"]])
        print(f"over-alert {case['id']} ({case['level']}): {found.word}: {case['title']}: {rules}")
    needed: Counter[str] = Counter()
    for case in urgent:
        grave = [r.rule for r in urgency_of(case, reading=False).reasons if r.urgency >= LEVELS[case["level"]]]  # fmt: skip
        needed.update(grave)
    alarms = Counter(
        r.rule for case, found in high for r in found.reasons if r.urgency > LEVELS[case["level"]]
    )
    print("per rule: urgent presentations it is enough for, benign ones it over-alerts")
    for name, count in needed.most_common():
        print(f"  {name:<26}{count:>4}{alarms[name]:>4}")
    for name in alarms.keys() - needed.keys():
        print(f"  {name:<26}{0:>4}{alarms[name]:>4}")


if __name__ == "__main__":
    main()
