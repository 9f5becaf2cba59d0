"""What a key writes: from the state to changes with what is said of them, or why there are none."""

from collections.abc import Iterator
from datetime import datetime
from typing import NamedTuple

from wardexam.anatomy.catalogue import SEGMENTS, Sign
from wardexam.exam.answers import Answer, answers_for
from wardexam.exam.entry import Change, apply
from wardexam.exam.examination import Examination
from wardexam.exam.findings import (
    QUALITY_SIGNS,
    QUALITY_WORDS,
    REASON_WORDS,
    Finding,
    Quality,
    Reason,
    Side,
)
from wardexam.exam.flags import Flag
from wardexam.exam.onset import ONSET, ONSETS, OnsetQuestion
from wardexam.exam.text import clean
from wardexam.exam.wording import named, sided
from wardexam.terminal.examine.state import State, sides

DOCUMENTED = "documented before"  # what is taken where nothing else is typed


class Edit(NamedTuple):
    """A change and what is said of it."""

    change: Change
    said: str


class RefusedError(Exception):
    """Nothing is written; the text says why."""


def _where(side: Side) -> str:
    return "" if side == "midline" else f"{side} "


def _set(finding: Finding, **fields: object) -> Change:
    """A finding with some of its fields changed."""
    value = finding.model_dump(mode="json") | fields
    return Change("finding", f"{finding.sign} {finding.side}", value)


def graded(examination: Examination, row: Sign, side: Side, answer: Answer) -> Change:
    """A sign's answer on a side, a tendon reflex on the scale that is chosen."""
    value = {"sign": row.id, "side": side, "answer": answer.code}
    if row.answers == "tendon":
        value["scale"] = examination.scale
    return Change("finding", f"{row.id} {side}", value)


def grade(state: State, key: str) -> list[Edit]:
    """The grade that a key gives at the cursor, on one side or both.

    Raises:
        RefusedError: The key is no answer here.
    """
    row = state.row
    if isinstance(row, OnsetQuestion):
        return [onset(key)]
    if isinstance(row, Flag):
        raise RefusedError(f"Here: {state.accepted}.")
    answer = next((a for a in state.answers(row).answers if a.key == key), None)
    if answer is None:
        raise RefusedError(f"{row.name}: here {state.accepted}.")
    words = answer.mark if row.answers in ("tendon", "mrc") else answer.words
    return [
        Edit(graded(state.examination, row, side, answer), f"{_where(side)}{row.name} {words}")
        for side in state.graded_sides
    ]


def level(row: Sign, on: tuple[Side, ...], text: str) -> list[Edit]:
    """The lowest segment that is still normal, on one side or both.

    Raises:
        RefusedError: It is no segment.
    """
    segment = text.strip().upper()
    if segment not in SEGMENTS:
        raise RefusedError(f"'{clean(text)[:10]}' is no segment: C2 to S4. Nothing was changed.")
    return [
        Edit(
            Change(
                "finding", f"{row.id} {side}", {"sign": row.id, "side": side, "answer": segment}
            ),
            f"{side} {row.name}: reduced below {segment}",
        )
        for side in on
    ]


def said_of_both(state: State, edits: list[Edit]) -> str:
    """What is said of an answer that went to both sides."""
    row, value = state.row, edits[-1].change.value
    assert isinstance(row, Sign)
    if reason := value.get("not_testable"):
        return f"both {row.name} not testable: {REASON_WORDS[reason]}"
    if row.answers == "level" and value["answer"] in SEGMENTS:
        return f"both sides {row.name}: reduced below {value['answer']}"
    answer = state.answers(row).get(value["answer"])
    return f"both {row.name} {answer.mark if answer else value['answer']}"


def onset(key: str) -> Edit:
    """When it began.

    Raises:
        RefusedError: The key is no answer.
    """
    answer = next((a for a in ONSETS if a.key == key), None)
    if answer is None:
        keys = ", ".join(f"{a.key} {a.words}" for a in ONSETS)
        raise RefusedError(f"{ONSET.name}: {keys}.")
    return Edit(Change("context", "onset", answer.code), f"{ONSET.name}: {answer.words}")


def flag(row: Flag, answer: str) -> Edit:
    """A red flag's answer."""
    return Edit(Change("flag", row.id, answer), f"{row.ask} {answer}.")


def not_testable(row: Sign, side: Side, reason: Reason) -> Edit:
    """Why a sign could not be tested."""
    value = {"sign": row.id, "side": side, "not_testable": reason}
    return Edit(
        Change("finding", f"{row.id} {side}", value),
        f"{side} {row.name} not testable: {REASON_WORDS[reason]}",
    )


def quality(state: State, wanted: Quality) -> list[Edit]:
    """A quality of the finding that the cursor's line names; taken away where it has it.

    Raises:
        RefusedError: Nothing is graded, or the quality means nothing there.
    """
    found = state.named
    if not found or any(f.answer is None for f in found):
        raise RefusedError("Grade the reflex first.")
    had, made = all(wanted in f.qualities for f in found), []
    for finding in found:
        if finding.sign not in QUALITY_SIGNS[wanted]:
            raise RefusedError(f"'{wanted.replace('_', ' ')}' means nothing at {finding.row.name}.")
        held = [q for q in finding.qualities if q != wanted]
        words = f"{'no longer ' if had else ''}{QUALITY_WORDS[wanted]}"
        change = _set(finding, qualities=held if had else [*held, wanted])
        made.append(Edit(change, f"{named(finding)}: {words}"))
    return made


def said_of_qualities(made: list[Edit]) -> str:
    """What is said of a quality, of one side or both."""
    said = made[0].said
    return said if len(made) == 1 else f"both {said.split(' ', 1)[1]}"


def may_be_known(state: State) -> list[Finding]:
    """What is abnormal at the cursor, or on both sides where the next key speaks of both.

    Raises:
        RefusedError: Nothing is recorded there, or nothing that is out of the usual.
    """
    row = state.row
    if not isinstance(row, Sign):
        raise RefusedError("Only a finding is marked as known from before.")
    found = [f for side in state.graded_sides if (f := state.examination.finding(row.id, side))]
    if not found:
        raise RefusedError(
            f"{sided(state.side, row.name)}: nothing recorded to be known from before."
        )
    odd = [f for f in found if f.answer is not None and not (f.choice and f.choice.usual)]
    if not odd:
        raise RefusedError("Only what is abnormal is marked as known from before.")
    return odd


def known(old: list[Finding], words: str) -> list[Edit]:
    """Findings marked as known from before, with when and where they were documented; unmarked where empty."""
    return [Edit(_set(f, known=words), said_of_known([f], words)) for f in old]


def named_known(old: list[Finding]) -> str:
    """What is marked as known, by its sign and side."""
    return named(old[0]) if len(old) == 1 else f"both {old[0].row.name}"


def said_of_known(old: list[Finding], words: str) -> str:
    """What is said of the mark."""
    return f"{named_known(old)}: " + (
        f"known before, {clean(words)}" if words else "no longer known before"
    )


def cleared(state: State) -> Edit:
    """The finding or answer at the cursor taken away.

    Raises:
        RefusedError: There is none.
    """
    row = state.row
    if isinstance(row, OnsetQuestion):
        if state.examination.context.onset == "unknown":
            raise RefusedError("Not known already.")
        return Edit(Change("context", "onset", "unknown"), f"{ONSET.name}: unknown")
    if isinstance(row, Flag):
        if row.id not in state.examination.flags:
            raise RefusedError("Not asked already.")
        return Edit(Change("flag", row.id), f"{row.id.replace('_', ' ')}: not asked")
    if state.finding is None:
        raise RefusedError("Not examined already.")
    key = f"{row.id} {state.side}"
    return Edit(Change("finding", key), f"{key.replace('_', ' ')}: not examined")


def measured(state: State) -> Finding | None:
    """The finding that a number belongs to: at the cursor, else the last graded."""
    row = state.row
    if isinstance(row, Sign) and row.answers == "residual":
        blank = Finding(sign=row.id, side="midline", answer="measured", amount=0)
        return state.finding or blank
    for finding in (state.finding, state.last_graded):
        if finding and finding.answer and finding.row.answers != "tendon":
            amount = answers_for(finding.row.answers).amount
            if amount and finding.answer in amount.answers:
                return finding
    return None


def number(finding: Finding, unit: str, text: str) -> Edit:
    """A finding's beats, degrees or mL.

    Raises:
        RefusedError: It is no number.
    """
    if not text.strip().isdecimal():
        raise RefusedError("A whole number is needed. Nothing was changed.")
    return Edit(_set(finding, amount=int(text)), f"{finding.row.name} {int(text)} {unit}")


def comment(state: State, text: str) -> Edit:
    """A comment on the finding at the cursor, or on the whole."""
    if finding := state.finding:
        return Edit(_set(finding, comment=text), "Comment on the finding kept.")
    return Edit(Change("comment", "", text), "Comment kept.")


def rest_normal(state: State, at: datetime, withdraws: str) -> Edit:
    """The statement that the rest of this limb was examined and normal; withdrawn where it was made.

    Args:
        state: Where the cursor stands.
        at: When it is stated.
        withdraws: The key that withdraws it again.

    Raises:
        RefusedError: What stands here is never covered by such a statement.
    """
    row, side = state.row, state.side
    if not isinstance(row, Sign) or row.limb == "saddle" or row.part == "sphincters":
        raise RefusedError("Refused: questions, saddle and sphincters are answered one by one.")
    limb = row.limb if row.limb in ("head", "trunk") else f"{side} {row.limb}"
    if side == "midline" and row.limb not in ("head", "trunk"):
        raise RefusedError("Choose a row with sides for this statement.")
    key = f"{row.part} {limb}"
    if any(f"{s.part} {s.limb}" == key for s in state.examination.rest_normal):
        return Edit(Change("rest_normal", key), f"Withdrawn: rest of {limb} {row.part}.")
    value = {
        "part": row.part,
        "limb": limb,
        "by": state.examination.examiner,
        "at": at.isoformat(),
    }
    return Edit(
        Change("rest_normal", key, value),
        f"Stated: rest of {limb} {row.part} examined, normal. {withdraws} withdraws.",
    )


FORESEEN = 2  # answers at the cursor worth a reading ahead of the key: each costs some 4 ms


def ahead(state: State, examination: Examination) -> Iterator[Examination]:
    """The examinations that a grade at the cursor would make, likeliest first."""
    row, side = state.row, state.side
    if isinstance(row, OnsetQuestion):
        for began in ONSETS:
            yield apply(examination, onset(began.key).change)
        return
    if isinstance(row, Flag):
        for said in ("yes", "no"):
            yield apply(examination, flag(row, said).change)
        return
    if row.answers in ("level", "residual"):
        return
    others = [examination.finding(row.id, s) for s in sides(row) if s != side]
    others.append(state.before.get((row.id, side)))
    likely = [f.answer for f in others if f]
    graded_sides = state.graded_sides
    answers = state.answers(row).answers
    usual = next((n for n, a in enumerate(answers) if a.usual), 0)
    order = sorted(
        range(len(answers)), key=lambda n: (answers[n].code not in likely, abs(n - usual))
    )
    for answer in (answers[n] for n in order[:FORESEEN]):
        possible = examination
        for each in graded_sides:
            possible = apply(possible, graded(possible, row, each, answer))
        yield possible
