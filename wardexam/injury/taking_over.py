"""A sheet begun from an ordinary examination of power and sensation, with what it leaves open.

Only graded signs are taken: a statement that the rest was normal, and a stated level, are no scores.
"""

from dataclasses import dataclass
from typing import Any

from wardexam.exam.examination import Findings
from wardexam.exam.findings import Finding
from wardexam.injury.segments import POINTS
from wardexam.injury.sheet import NOT_TESTABLE, SENSES, SIDES, InjurySheet, Side
from wardexam.injury.tables import muscles, standard, taken_over


@dataclass(frozen=True, slots=True)
class TakenOver:
    """What an ordinary examination gives for the classification.

    Attributes:
        sheet: The scores taken over.
        missing: What was not entered, in words.
        remarks: What was taken with a reservation, and what could not be taken.
    """

    sheet: InjurySheet
    missing: tuple[str, ...]
    remarks: tuple[str, ...]


def take_over(findings: Findings, id_: str = "") -> TakenOver:
    """The scores that the findings hold; everything else stays unknown.

    Args:
        findings: An ordinary examination.
        id_: Who it is, or any short text, for the sheet.
    """
    remarks: list[str] = []
    document: dict[str, Any] = {"id": id_, "motor": _motor(findings, remarks)}
    document |= {test: _sensory(findings, test, remarks) for test in SENSES}
    for side in SIDES:
        _movement(findings, side, remarks)
    document["anal_contraction"] = _contraction(findings, remarks)
    remarks += _not_taken(findings)
    sheet = InjurySheet.model_validate(document)
    return TakenOver(sheet, tuple(sheet.absent()), tuple(dict.fromkeys(remarks)))


def _motor(findings: Findings, remarks: list[str]) -> dict[str, dict[str, str]]:
    """The key muscles that were graded, each as the standard's whole grade."""
    found: dict[str, dict[str, str]] = {side: {} for side in SIDES}
    for segment, row in muscles().key.items():
        for side in SIDES:
            sign = findings.finding(row.sign, side)
            if sign is None:
                continue
            found[side][segment] = NOT_TESTABLE if sign.answer is None else sign.answer.rstrip("+-")
            if row.check:
                remarks.append(f"{segment} is taken from {sign.row.name}: check {row.check}")
    return found


def _sensory(findings: Findings, test: str, remarks: list[str]) -> dict[str, dict[str, str]]:
    """The key points that were tested; what is more than normal is altered."""
    found: dict[str, dict[str, str]] = {side: {} for side in SIDES}
    sensory, begins = standard().sensory, taken_over().sensory[test].signs
    for segment in POINTS:
        for side in SIDES:
            sign = findings.finding(f"{begins}_{segment.replace('-', '_')}", side)
            if sign is None:
                continue
            score = {"absent": sensory.absent, "normal": sensory.normal}
            digit = score.get(str(sign.answer), sensory.altered)
            found[side][segment] = NOT_TESTABLE if sign.answer is None else str(digit)
            if sign.answer == "heightened":
                remarks.append("heightened sensation is taken as altered")
    return found


def _graded(sign: Finding | None) -> bool:
    """Whether a sign of power shows any movement."""
    grade = sign.answer.rstrip("+-") if sign is not None and sign.answer is not None else ""
    return grade.isdecimal() and int(grade) >= standard().motor.trace


def _movement(findings: Findings, side: Side, remarks: list[str]) -> None:
    """Tell the lowest movement outside the key muscles that was graded and is there.

    It is not taken: an examination does not grade all of them, and one further down would be counted as none.
    """
    lowest = None
    for segment, row in taken_over().movements.items():
        for name in row.signs:
            if _graded(findings.finding(name, side)):
                lowest = segment
    if lowest is not None:
        remarks.append(
            f"movement outside the key muscles, {side}: {lowest} is the lowest that was graded, not all were: enter the lowest there is"
        )


def _contraction(findings: Findings, remarks: list[str]) -> str | None:
    """Voluntary anal contraction, from the anal squeeze."""
    squeeze = findings.finding(taken_over().contraction.sign, "midline")
    if squeeze is None:
        return None
    remarks.append("voluntary anal contraction is taken from the anal squeeze")
    if squeeze.answer is None:
        return NOT_TESTABLE
    return "no" if squeeze.answer == "absent" else "yes"


def _not_taken(findings: Findings) -> list[str]:
    """What speaks of the same and is no score."""
    signs = {f.sign for f in findings.findings}
    said = [row.words for sign, row in taken_over().no_score.items() if sign in signs]
    if any(f.known for f in findings.findings):
        said.append("what was known from before is taken as it stands: was it examined now?")
    if any(s.part in ("power", "sensation") for s in findings.rest_normal):
        said.append("a statement that the rest was normal is no score: enter what was tested")
    return said
