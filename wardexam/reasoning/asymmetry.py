"""Whether the sides differ, and where arms and legs part: from what was found alone, without arrays."""

from wardexam.anatomy.catalogue import SEGMENTS
from wardexam.exam.answers import answers_for
from wardexam.exam.examination import Examination
from wardexam.exam.findings import Finding
from wardexam.reasoning.change import MEANING_ORDER
from wardexam.reasoning.reading import Asymmetry


def asymmetries(examination: Examination) -> tuple[Asymmetry, ...]:
    """Signs whose sides differ, with the chance that they truly do.

    Two observers disagree on whether reflexes are asymmetrical in 45 % of pairs, and by two grades in
    15 to 28 % (Stam and van Crevel 1990 J Neurol 237:427), so one grade is weak and two are strong.
    """
    found = []
    for finding in examination.findings:
        other = examination.finding(finding.sign, "left") if finding.side == "right" else None
        if other is None or finding.answer is None or other.answer is None:
            continue
        gap = _rank(finding) - _rank(other)
        if gap:
            chance = {1: 0.55, 2: 0.88}.get(abs(gap), 0.96)
            text = f"{finding.row.name}: right {_short(finding)}, left {_short(other)}"
            found.append(Asymmetry(finding.sign, text, chance, "right" if gap < 0 else "left"))
    return tuple(sorted(found, key=lambda a: (-a.probability, a.sign)))


def _short(finding: Finding) -> str:
    return finding.choice.mark if finding.choice else str(finding.answer)


def _rank(finding: Finding) -> int:
    if finding.scale:
        return MEANING_ORDER[finding.meaning]
    if finding.row.answers == "level":
        return SEGMENTS.index(finding.answer) if finding.answer in SEGMENTS else len(SEGMENTS)
    answers = outcomes_of(finding)
    return answers.index(str(finding.answer))


def outcomes_of(finding: Finding) -> tuple[str, ...]:
    """The codes of a finding's answer set, from least to most abnormal where they have an order."""
    codes = answers_for(finding.row.answers, finding.scale or "conventional").codes
    if finding.row.answers == "plantar":
        return ("flexor", "mute", "withdrawal", "equivocal", "extensor")
    return codes


def level_note(examination: Examination) -> str:
    """Where arms and legs part, from the tendon reflexes; empty where they do not."""
    arms: list[int] = []
    legs: list[int] = []
    for finding in examination.findings:
        if finding.scale and finding.answer is not None and finding.row.limb in ("arm", "leg"):
            (arms if finding.row.limb == "arm" else legs).append(MEANING_ORDER[finding.meaning])
    if len(arms) >= 2 and len(legs) >= 2:
        gap = sum(legs) / len(legs) - sum(arms) / len(arms)
        if gap >= 0.75:
            return "legs brisker than arms: look between neck and lumbar cord"
        if gap <= -0.75:
            return "legs duller than arms: length, lumbar roots or shock"
    return ""
