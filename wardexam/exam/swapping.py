"""Right and left swapped in all that was entered: for who examined from the foot of the bed, and took the one for the other."""

from typing import Any

from wardexam.exam.entry import Change, What
from wardexam.exam.examination import Examination
from wardexam.exam.text import counted

OTHER = {"right": "left", "left": "right"}
SIDE: dict[What, str] = {"finding": "side", "rest_normal": "limb"}  # where each says its side
SAME = "Right and left are entered alike: there is nothing to swap."
DONE = "Right and left swapped in {}."
Rows = dict[tuple[What, str], dict[str, Any]]


def swapped(examination: Examination) -> list[Change]:
    """The changes that give each finding, and each statement that the rest was normal, to the other side.

    What has no side stays, as does what is alike on both; empty where that is all.
    """
    rows = _with_a_side(examination)
    now: Rows = {
        (what, _other(key)): value | {SIDE[what]: _other(value[SIDE[what]])}
        for (what, key), value in rows.items()
    }
    return [Change(*at, now.get(at)) for at in {**rows, **now} if rows.get(at) != now.get(at)]


def in_what(examination: Examination) -> str:
    """What is swapped, counted: ``"12 findings and 1 statement"``."""
    whats = [what for what, _ in _with_a_side(examination)]
    many = [(whats.count("finding"), "finding"), (whats.count("rest_normal"), "statement")]
    return " and ".join(counted(number, thing) for number, thing in many if number)


def stays(examination: Examination) -> tuple[str, ...]:
    """What is not swapped though it speaks of a side, or may, and what comes of that: a line each."""
    e = examination
    told = e.context.complaint_side
    words = [e.comment, e.impression, *(f.comment for f in e.findings)]
    return (
        *([f"The side of the complaint stays {told}."] if told in OTHER else []),
        *(["Comments and impression stay as written."] if any(words) else []),
        *(["What was settled may open again."] if any(a.settles for a in e.acts) else []),
    )


def _other(words: str) -> str:
    """The same of the other side."""
    return " ".join(OTHER.get(word, word) for word in words.split(" "))


def _with_a_side(examination: Examination) -> Rows:
    """What has a side, by what changes it."""
    rows: Rows = {
        ("finding", f"{f.sign} {f.side}"): f.model_dump(mode="json") for f in examination.findings
    }
    rows |= {
        ("rest_normal", f"{s.part} {s.limb}"): s.model_dump(mode="json")
        for s in examination.rest_normal
    }
    return {(what, key): value for (what, key), value in rows.items() if _other(key) != key}
