"""What a key writes: from the state to changes with what is said of them, or why there are none."""

import re
from collections.abc import Iterator
from datetime import datetime
from typing import TYPE_CHECKING, NamedTuple

from wardexam.anatomy.catalogue import SEGMENTS, Sign, catalogue, dermatomes
from wardexam.exam.answers import Answer, ScaleName, answers_for
from wardexam.exam.entry import Change, apply
from wardexam.exam.examination import Context, Examination
from wardexam.exam.findings import (
    REASON_WORDS,
    Finding,
    Quality,
    Reason,
    RestNormal,
    Side,
    qualities,
)
from wardexam.exam.flags import Flag
from wardexam.exam.onset import onset, onset_words, onsets
from wardexam.exam.story import StoryQuestion, story
from wardexam.exam.text import clean, counted
from wardexam.exam.wording import cell, known_words, mark, named, sided
from wardexam.note.stating import doubts
from wardexam.terminal import edit
from wardexam.terminal.edit import RefusedError
from wardexam.terminal.examine.state import PAGE_TITLES, State, sides

if TYPE_CHECKING:
    from wardexam.injury.sheet import InjurySheet

Edit = edit.Edit[Change]
MANY = 10  # signs that a statement may speak of without being asked whether it is meant


def _where(side: Side) -> str:
    return "" if side == "midline" else f"{side} "


def _set(finding: Finding, **fields: object) -> Change:
    """A finding with some of its fields changed."""
    value = finding.model_dump(mode="json") | fields
    return Change("finding", f"{finding.sign} {finding.side}", value)


def graded(examination: Examination, row: Sign, side: Side, answer: Answer) -> Change:
    """A sign's answer on a side, a tendon reflex on the scale that is chosen."""
    value = {"sign": row.id, "side": side, "answer": answer.code}
    if row.tendon:
        value["scale"] = examination.scale
    return Change("finding", f"{row.id} {side}", value)


def grade(state: State, key: str) -> list[Edit]:
    """The grade that a key gives at the cursor, on one side or both.

    Raises:
        RefusedError: The key is no answer here.
    """
    row = state.row
    if isinstance(row, StoryQuestion):
        return [onset_answered(key)]
    if isinstance(row, Flag):
        raise RefusedError(f"Here: {state.accepted}.")
    answer = next((a for a in state.answers(row).answers if a.key == key), None)
    if answer is None:
        raise RefusedError(f"{row.name}: here {state.accepted}.")
    words = answer.mark if row.tendon or row.mrc else answer.words
    return [
        Edit(graded(state.examination, row, side, answer), f"{_where(side)}{row.name} {words}")
        for side in state.graded_sides
    ]


def split_grade(state: State, key: str, undo: str) -> str:
    """What is asked where a plus or minus is typed behind a 4 that has moved on: it may be meant for either; else empty.

    Args:
        state: Where the cursor stands.
        key: What was typed.
        undo: The key that takes a grade back.
    """
    last = state.last_graded if state.moved_on and not state.both else None
    mark = {"minus": "-", "plus": "+"}.get(key)
    if mark is None or last is None or not (last.row.mrc and last.answer == "4"):
        return ""
    row = state.row
    here = isinstance(row, Sign) and row.mrc
    again = f"; {mark} again grades at the cursor" if here else ""
    return f"{mark} not entered: {undo} {mark} makes the 4 a 4{mark}{again}."


UNCHANGED = {"comment": "", "not_testable": None}  # what is of the earlier examination alone


def unchanged(state: State) -> list[Edit]:
    """The earlier grade of the cursor's cell as found again today, or of both sides where both have one.

    A measured number is never taken over: it is measured again.

    Raises:
        RefusedError: There is no earlier grade; the text says so, or what is to be done instead.
    """
    row = state.row
    if isinstance(row, StoryQuestion):
        if not (told := state.onset_earlier):
            raise RefusedError("When it began was not told earlier in the stay.")
        said = f"{onset().name}: {onset_words(told)}, as told before"
        return [Edit(Change("context", "onset", told), said)]
    if isinstance(row, Flag):
        raise RefusedError(f"A question is asked again: {state.accepted}.")
    if row.measured:
        raise RefusedError(f"{row.name}: measured again, not taken over. {state.accepted}.")
    earlier = [f for side in state.graded_sides if (f := state.before.get((row.id, side)))]
    found = [f for f in earlier if f.answer is not None]
    if not found:
        where = sided("midline" if state.both else state.side, row.name)
        why = "could not be tested" if earlier else "no earlier grade"
        raise RefusedError(f"{where}: {why}. Nothing was entered.")
    return [
        Edit(_set(f, **UNCHANGED), f"{named(f)} {cell(f, state.examination.scale)}, unchanged")
        for f in found
    ]


def in_doubt(state: State, again: str) -> str:
    """Why `=` is not taken: here it may also be a plus typed without shift; empty where it is not.

    Args:
        state: Where the cursor stands.
        again: The key that is not in doubt.
    """
    row = state.row
    if not isinstance(row, Sign):
        return ""
    plus = next((a for a in state.answers(row).answers if a.key == "plus"), None)
    earlier = [f for side in state.graded_sides if (f := state.before.get((row.id, side)))]
    if plus is None or (earlier and all(f.answer == plus.code for f in earlier)):
        return ""
    if not earlier:
        return f"= is not taken here: + grades {plus.mark}, and there is no earlier grade."
    return f"= is not taken here: {again} enters the earlier grade, + grades {plus.mark}."


def said_of_unchanged(state: State, made: list[Edit]) -> str:
    """What is said of earlier grades that are entered as found again."""
    if len(made) == 1:
        return made[0].said + ("; no earlier grade on the other side" if state.both else "")
    return "; ".join(edit.said.removesuffix(", unchanged") for edit in made) + ": unchanged"


def level(row: Sign, on: tuple[Side, ...], text: str) -> list[Edit]:
    """The lowest segment that is still normal, on one side or both.

    Raises:
        RefusedError: It is no segment.
    """
    segment = text.strip().upper()
    alone = [s for s in SEGMENTS if s[1:] == segment]
    segment = alone[0] if len(alone) == 1 else segment  # of 9 to 12 there is one alone
    if alone and segment not in SEGMENTS:
        raise RefusedError(f"{segment} is {', '.join(alone[:-1])} or {alone[-1]}: with its letter.")
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


RANGE = "T10 S5, or T10 alone and down"  # how a range is typed
_SEGMENT = re.compile(r"\b[ctls]\d+(?:-\d)?\b")
_BETWEEN = {"", "to", "down", "and", "from"}


def ranged(row: Sign, on: tuple[Side, ...], text: str) -> tuple[list[Edit], str]:
    """A range of dermatomes graded in the way that the row tests one: the changes, and what is said of all.

    Args:
        row: A dermatome, tested in one way.
        on: The sides that are graded.
        text: The first segment and the last, and a grade where it is not ``reduced``; the first alone goes down to the last there is.

    Raises:
        RefusedError: It cannot be read; the text says how it is typed.
    """
    typed = text.lower()
    rows, segments = dermatomes(row), _SEGMENT.findall(typed)
    words = set(re.split(r"[\s,-]+", _SEGMENT.sub(" ", typed))) - _BETWEEN
    answers = answers_for(row.answers).answers
    grades = [a for a in answers for w in words if w in (a.key, a.code, a.words)]
    places = [_dermatome(rows, segment) for segment in segments]
    if not 1 <= len(places) <= 2 or None in places or len(grades) != len(words) or len(grades) > 1:
        raise RefusedError(f"Two segments are needed, such as {RANGE}; what was typed is not.")
    first, last = places[0], places[-1] if len(places) == 2 else len(rows) - 1
    assert first is not None
    assert last is not None
    first, last = sorted((first, last))
    answer = grades[0] if grades else next(a for a in answers if a.code == "reduced")
    ends = [s.name.removeprefix(way(row)).strip() for s in (rows[first], rows[last])]
    where = "both sides" if len(on) > 1 else on[0]
    said = f"{where} {way(row)} {ends[0]} to {ends[1]}: {answer.words}"
    made = [
        Edit(
            Change(
                "finding", f"{s.id} {side}", {"sign": s.id, "side": side, "answer": answer.code}
            ),
            said,
        )
        for s in rows[first : last + 1]
        for side in on
    ]
    return made, said


def way(row: Sign) -> str:
    """How a dermatome is tested, by its name without the segment: ``"pinprick"``."""
    return row.name.rsplit(" ", 1)[0]


def _dermatome(rows: tuple[Sign, ...], segment: str) -> int | None:
    """Where the dermatome of a segment stands among the rows; of the last two one row speaks."""
    wanted = segment.upper().partition("-")[0]
    return next((n for n, s in enumerate(rows) if wanted in s.segments), None)


def other_grades(row: Sign) -> str:
    """What a range of dermatomes may be graded other than reduced, each with its key."""
    answers = answers_for(row.answers).answers
    return ", ".join(f"{a.key} {a.words}" for a in answers if a.code != "reduced")


def on_scales(state: State, scale: ScaleName) -> list[str]:
    """Every tendon reflex that is graded, with its grade as it is shown now and on another scale."""
    now = state.examination.scale
    return [
        f"{named(f)} {mark(f, now)} -> {mark(f, scale)}"
        for f in state.examination.findings
        if f.scale
    ]


def said_of_both(state: State, edits: list[Edit]) -> str:
    """What is said of an answer that went to both sides."""
    row, value = state.row, edits[-1].change.value
    assert isinstance(row, Sign)
    if reason := value.get("not_testable"):
        return f"both {row.name} not testable: {REASON_WORDS[reason]}"
    if row.level and value["answer"] in SEGMENTS:
        return f"both sides {row.name}: reduced below {value['answer']}"
    answer = state.answers(row).get(value["answer"])
    return f"both {row.name} {answer.mark if answer else value['answer']}"


def onset_answered(key: str) -> Edit:
    """When it began.

    Raises:
        RefusedError: The key is no answer.
    """
    answer = next((a for a in onsets() if a.key == key), None)
    if answer is None:
        keys = ", ".join(f"{a.key} {a.words}" for a in onsets())
        raise RefusedError(f"{onset().name}: {keys}.")
    return Edit(Change("context", "onset", answer.code), f"{onset().name}: {answer.words}")


def flag(row: Flag, answer: str, context: Context) -> Edit:
    """A red flag's answer.

    Raises:
        RefusedError: The story has told otherwise already.
    """
    asked = next((q for q in story() if q.field == row.told_by), None)
    told = getattr(context, asked.field) if asked else None
    if asked and answer == "no" and asked.says_yes(told):
        said = f"{asked.name}: {asked.words(told)}"
        raise RefusedError(f"Not answered: the story says {said}. Change that first.")
    return Edit(Change("flag", row.id, answer), f"{row.ask} {answer}.")


def not_testable(row: Sign, side: Side, reason: Reason) -> Edit:
    """Why a sign could not be tested."""
    value = {"sign": row.id, "side": side, "not_testable": reason}
    return Edit(
        Change("finding", f"{row.id} {side}", value),
        f"{side} {row.name} not testable: {REASON_WORDS[reason]}",
    )


def limb_not_testable(state: State, row: Sign, side: Side, reason: Reason) -> list[Edit]:
    """Why no sign of a limb could be tested, for each on the page that is not filled.

    Raises:
        RefusedError: All of them are filled.
    """
    left = [
        each
        for each in state.signs
        if each.limb == row.limb
        and side in sides(each)
        and state.examination.finding(each.id, side) is None
    ]
    if not left:
        raise RefusedError("Every sign of that limb here is filled. Nothing was changed.")
    return [not_testable(each, side, reason) for each in left]


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
        if finding.sign not in qualities()[wanted].signs:
            raise RefusedError(f"'{wanted.replace('_', ' ')}' means nothing at {finding.row.name}.")
        held = [q for q in finding.qualities if q != wanted]
        words = f"{'no longer ' if had else ''}{qualities()[wanted].words}"
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
    odd = [f for f in found if f.abnormal]
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
    return f"{named_known(old)}: " + (known_words(words) if words else "no longer known before")


def cleared(state: State) -> Edit:
    """The finding or answer at the cursor taken away.

    Raises:
        RefusedError: There is none.
    """
    row = state.row
    if isinstance(row, StoryQuestion):
        if state.examination.context.onset == "unknown":
            raise RefusedError("Not known already.")
        return Edit(Change("context", "onset", "unknown"), f"{onset().name}: unknown")
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
    if isinstance(row, Sign) and row.measured:
        blank = Finding(sign=row.id, side="midline", answer="measured", amount=0)
        return state.finding or blank
    for finding in (state.finding, state.last_graded):
        if finding and finding.answer and not finding.row.tendon:
            amount = answers_for(finding.row.answers).amount
            if amount and finding.answer in amount.answers:
                return finding
    return None


def begins_number(state: State, key: str) -> list[Finding]:
    """The findings that a digit begins the number of, where it is no answer itself; empty where it begins none."""
    row = state.row
    if not isinstance(row, Sign) or not key.isdecimal():
        return []
    kind = state.answers(row)
    if kind.amount is None or any(a.key == key for a in kind.answers):
        return []
    answer = kind.amount.answers[0]
    return [Finding(sign=row.id, side=side, answer=answer) for side in state.graded_sides]


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
    by = state.examination.examiner
    stated = RestNormal.model_validate({"part": row.part, "limb": limb, "by": by, "at": at})
    many = counted(_covered(state, stated), "sign")
    return Edit(
        Change("rest_normal", key, stated.model_dump(mode="json")),
        f"Stated normal: rest of {limb} {row.part}, {many}. {withdraws} withdraws.",
    )


def _covered(state: State, stated: RestNormal) -> int:
    """Of how many signs, each on its side, a statement speaks that are not graded one by one."""
    return sum(
        stated.covers(row, side) and state.examination.finding(row.id, side) is None
        for row in catalogue().values()
        for side in sides(row)
    )


def doubted(state: State, made: Edit) -> tuple[str, ...]:
    """What is to be confirmed of a statement of the rest: what speaks against it, that it is of many signs; else empty."""
    if made.change.value is None:
        return ()
    stated = RestNormal.model_validate(made.change.value)
    against, many = doubts(stated, state.examination, state.visit.previous), _covered(state, stated)
    if many <= MANY:
        return against
    return (*against, f"{many} signs at once: {PAGE_TITLES[stated.part]}, {stated.limb}")


def ahead(state: State, examination: Examination) -> Iterator[Examination]:
    """The examinations that the next key is likely to make: of the grades at the cursor the likeliest alone.

    Each costs a reading. Of keys that change a grade, every one of them, the likeliest is right in 11 of 18.
    """
    row, side = state.row, state.side
    if isinstance(row, StoryQuestion):
        for began in onsets():
            yield apply(examination, onset_answered(began.key).change)
        return
    if isinstance(row, Flag):
        for said in ("yes", "no"):
            yield apply(examination, Change("flag", row.id, said))
        return
    if row.level or row.measured:
        return
    others = [examination.finding(row.id, s) for s in sides(row) if s != side]
    others.append(state.before.get((row.id, side)))
    likely = [f.answer for f in others if f]
    graded_sides = state.graded_sides
    answers = state.answers(row).answers
    usual = next((n for n, a in enumerate(answers) if a.usual), 0)
    likeliest = min(
        range(len(answers)), key=lambda n: (answers[n].code not in likely, abs(n - usual))
    )
    possible = examination
    for each in graded_sides:
        possible = apply(possible, graded(possible, row, each, answers[likeliest]))
    yield possible


class ScoresTaken(NamedTuple):
    """What the scores of a cord injury sheet give to an examination.

    Attributes:
        fresh: Signs that are not graded there.
        differ: Signs that are graded otherwise there, each with what it was.
        remarks: What was taken with a reservation, and what was left out.
    """

    fresh: list[Edit]
    differ: list[Edit]
    remarks: tuple[str, ...]

    def said(self, made: list[Edit]) -> str:
        """What is said of those that are written."""
        count = counted(len(made), "sign")
        return "; ".join([f"Of the cord injury sheet: {count}", *self.remarks])


def scores_taken(examination: Examination, sheet: "InjurySheet") -> ScoresTaken:
    """The scores of a cord injury sheet as signs: only what was tested there, and is not graded the same here."""
    from wardexam.injury.signs import as_signs

    given = as_signs(sheet)
    fresh, differ = list[Edit](), list[Edit]()
    for found in given.findings:
        change = Change("finding", f"{found.sign} {found.side}", found.model_dump(mode="json"))
        here = examination.finding(found.sign, found.side)
        if here is None:
            fresh.append(Edit(change, named(found)))
        elif not same_score(here, found):
            was, now = (cell(f, examination.scale) for f in (here, found))
            differ.append(Edit(change, f"{named(found)} {was} -> {now}"))
    return ScoresTaken(fresh, differ, given.remarks)


def same_score(here: Finding, found: Finding) -> bool:
    """Whether a grade of the examination is the score: whole grades of power, altered sensation of either kind."""
    if here.answer is None or found.answer is None:
        return False
    if here.row.answers == "sensation":
        altered = ("reduced", "heightened")
        return here.answer == found.answer or {here.answer, found.answer} <= {*altered}
    return here.answer.rstrip("+-") == found.answer
