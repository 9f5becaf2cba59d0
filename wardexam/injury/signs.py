"""The scores of a sheet as signs of an ordinary examination: only what was tested, and from the cord injury."""

from dataclasses import dataclass

from wardexam.anatomy.catalogue import catalogue
from wardexam.exam.findings import Finding
from wardexam.injury.sheet import SENSES, SIDES, InjurySheet, places
from wardexam.injury.tables import muscles, standard, taken_over


@dataclass(frozen=True, slots=True)
class AsSigns:
    """What a sheet gives to an ordinary examination.

    Attributes:
        findings: The signs that were tested.
        remarks: What was taken with a reservation, and what was left out.
    """

    findings: tuple[Finding, ...]
    remarks: tuple[str, ...]


def as_signs(sheet: InjurySheet) -> AsSigns:
    """Key muscles as power, key points as sensation, a contraction that is absent as no anal squeeze.

    What was not entered or not testable, and what is marked as not from the cord injury, is left out.
    """
    found: list[Finding] = []
    remarks: list[str] = []
    left: dict[str, int] = {"not testable": 0, "marked as not from the cord injury": 0}
    words = _words(sheet, remarks)
    for side in SIDES:
        for test in (*SENSES, "motor"):
            for segment in places(test):
                score = sheet.score(test, side, segment)
                if score is None:
                    continue
                if score.digit is None or score.marked:
                    left["not testable" if score.digit is None else "marked as not from the cord injury"] += 1  # fmt: skip
                    continue
                sign = muscles().key[segment].sign if test == "motor" else _point(test, segment)
                if sign in catalogue():
                    answer = str(score.digit) if test == "motor" else words[score.digit]
                    found.append(Finding(sign=sign, side=side, answer=answer))
    if sheet.anal_contraction == "no":
        sign = taken_over().contraction.sign
        found.append(Finding(sign=sign, side="midline", answer="absent"))
    elif sheet.anal_contraction == "yes":
        remarks.append("anal contraction is there: grade the anal squeeze")
    if sheet.anal_pressure:
        remarks.append("deep anal pressure is no sign of the examination")
    remarks += [f"left out: {count} {why}" for why, count in left.items() if count]
    return AsSigns(tuple(found), tuple(dict.fromkeys(remarks)))


def _point(test: str, segment: str) -> str:
    return f"{taken_over().sensory[test].signs}_{segment.replace('-', '_')}"


def _words(sheet: InjurySheet, remarks: list[str]) -> dict[int, str]:
    """The answer of a sign of sensation for each score."""
    sensory = standard().sensory
    altered = str(sensory.altered)
    if any(altered in codes.values() for test in SENSES for codes in _codes(sheet, test)):
        remarks.append("altered sensation is taken as reduced: change it where it is more than normal")  # fmt: skip
    return {sensory.absent: "absent", sensory.altered: "reduced", sensory.normal: "normal"}


def _codes(sheet: InjurySheet, test: str) -> tuple[dict[str, str], ...]:
    scores = getattr(sheet, test)
    return tuple(getattr(scores, side) for side in SIDES)
