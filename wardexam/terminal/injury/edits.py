"""What a key writes on a cord injury sheet: from the state to a change with what is said, or why there is none."""

from typing import Any

from wardexam.errors import InputError
from wardexam.exam.text import counted
from wardexam.injury.entry import SheetChange, scored, written_over
from wardexam.injury.segments import NAMES
from wardexam.injury.sheet import (
    MARK,
    NO_MOVEMENT,
    NOT_TESTABLE,
    SIDES,
    TEST_WORDS,
    TESTS,
    InjurySheet,
    codes,
    normal,
    places,
    stretches,
)
from wardexam.injury.tables import muscles
from wardexam.injury.taking_over import TakenOver
from wardexam.injury.typed import begins_a_line, is_arms_and_legs, read_column, read_more
from wardexam.terminal import edit
from wardexam.terminal.edit import RefusedError
from wardexam.terminal.injury.state import Cell, State, named

Edit = edit.Edit[SheetChange]
ANSWERS = {"0": "no", "1": "yes"}
SAME = "="  # typed at pinprick: the same as light touch
RANGE = "2t9, 1t12, 0"
COUNTED = {None: "counts by the level", "normal": "counts as normal", "examined": "counts as found"}
# What a marked score counts as next; behind the last one the mark is taken away.
NEXT = {None: "normal", "normal": "examined"}


def accepted(cell: Cell) -> str:
    """What keys give at a cell."""
    if cell.row == "movement":
        return "0 none  enter segment"
    if cell.test is None:
        asked = "0 no  1 yes"
        return asked if cell.row == "earlier_deficit" else f"{asked}  x NT"
    if cell.test == "motor":
        return "0 to 5  x NT  * not from injury"
    return "0 absent  1 altered  2 normal  x NT"


def digit(state: State, key: str) -> Edit:
    """What a digit gives at the cursor, on one side or both.

    Raises:
        RefusedError: It is no score or answer here.
    """
    cell = state.cell
    if cell.row == "movement":
        if key != "0":
            raise RefusedError(f"A segment is typed: {accepted(cell)}.")
        return movement(state, NO_MOVEMENT)
    if cell.test is None:
        if key not in ANSWERS:
            raise RefusedError(f"{named(cell)}: {accepted(cell)}.")
        answer = ANSWERS[key]
        said = f"{named(cell)}: {answer}{_was(state, cell, answer)}"
        return Edit(SheetChange({cell.row: answer}), said)
    if key not in codes(cell.test):
        raise RefusedError(f"{named(cell)}: {accepted(cell)}.")
    return _cells(state, key)


def _cells(state: State, code: str | None) -> Edit:
    cell = state.cell
    assert cell.test is not None
    given = {(cell.test, side): {cell.row: code} for side in state.entered_sides}
    where = f"both {TEST_WORDS[cell.test]} {cell.row}" if state.both else named(cell)
    said = f"{where} {code.replace(NOT_TESTABLE, 'not testable')}" if code else f"{where}: not entered"  # fmt: skip
    return Edit(scored(state.sheet, given), f"{said}{_was(state, cell, code)}")


def _was(state: State, cell: Cell, code: str | None) -> str:
    """What stood where another score or answer is written now: ``, was 2``; each side by its name where both are meant."""
    if cell.test is not None:
        held = {side: getattr(getattr(state.sheet, cell.test), side).get(cell.row) for side in state.entered_sides}  # fmt: skip
    elif cell.row == "movement":
        held = {side: getattr(state.sheet.movements, side) for side in state.entered_sides}
    else:
        held = {cell.side: getattr(state.sheet, cell.row)}
    gone = {side: said for side, said in held.items() if said not in (None, code)}
    several = len(held) > 1 and (len(gone) < len(held) or len(set(gone.values())) > 1)
    told = [f"{side} {was}" if several else was for side, was in gone.items()]
    return f", was {', '.join(told if several else told[:1])}" if told else ""


def _left(sheet: InjurySheet, other: InjurySheet) -> str:
    """What stands in the columns that were written to and was not written over; empty where nothing does."""
    left = []
    for test in TESTS:
        for side in SIDES:
            held, given = (getattr(getattr(s, test), side) for s in (sheet, other))
            if given and (stays := [s for s in places(test) if s in held and s not in given]):
                left.append(f"{side} {TEST_WORDS[test]} {stretches(test, stays)}")
    return f". Left as before: {'; '.join(left)}" if left else ""


def not_testable(state: State) -> Edit:
    """Not testable, at the cursor.

    Raises:
        RefusedError: That is no answer here.
    """
    cell = state.cell
    if cell.test is not None:
        return _cells(state, NOT_TESTABLE)
    if cell.row in ("movement", "earlier_deficit"):
        raise RefusedError(f"{named(cell)}: {accepted(cell)}.")
    said = f"{named(cell)}: not testable{_was(state, cell, NOT_TESTABLE)}"
    return Edit(SheetChange({cell.row: NOT_TESTABLE}), said)


def cleared(state: State) -> Edit:
    """The cell under the cursor as not entered."""
    cell = state.cell
    if cell.test is not None:
        return _cells(state, None)
    if cell.row == "movement":
        gone = dict.fromkeys(state.entered_sides)
        return Edit(
            _moved(state.sheet, gone), f"{named(cell)}: not entered{_was(state, cell, None)}"
        )
    return Edit(
        SheetChange({cell.row: None}), f"{named(cell)}: not entered{_was(state, cell, None)}"
    )


def marked(state: State) -> Edit:
    """The next of: marked as not from the injury, counted as normal, counted as found, no mark.

    Raises:
        RefusedError: There is no score that can be marked.
    """
    cell, sheet = state.cell, state.sheet
    found = sheet.score(cell.test, cell.side, cell.row) if cell.test else None
    if cell.test is None or found is None:
        raise RefusedError("A score is marked that was found: enter it first.")
    if found.digit == normal(cell.test):
        raise RefusedError(f"{named(cell)} is normal: only what is not is marked.")
    rating = sheet.rating(cell.test, cell.side, cell.row)
    others = [r.model_dump() for r in sheet.rated if r.place != (cell.test, cell.side, cell.row)]
    if found.marked and rating == "examined":
        bare = {(cell.test, cell.side): {cell.row: found.code.removesuffix(MARK)}}
        return Edit(scored(sheet, bare), f"{named(cell)}: from the injury, no mark")
    following = NEXT.get(rating) if found.marked else None
    code = found.code if found.marked else f"{found.code}{MARK}"
    fields: dict[str, Any] = scored(sheet, {(cell.test, cell.side): {cell.row: code}}).fields
    if following:
        rated = {"side": cell.side, "test": cell.test, "segment": cell.row, "counts": following}
        fields["rated"] = [*others, rated]
    return Edit(SheetChange(fields), f"{named(cell)} {code}: not from the injury, {COUNTED[following]}")  # fmt: skip


def why_counted(state: State, text: str) -> Edit:
    """The examiner's reason why the marked score at the cursor counts as it does."""
    cell = state.cell
    rated = [
        row.model_dump() | ({"why": text} if row.place == (cell.test, cell.side, cell.row) else {})
        for row in state.sheet.rated
    ]
    return Edit(SheetChange({"rated": rated}), f"{named(cell)}: why it counts so is kept.")


def comment(state: State, text: str) -> Edit:
    """A comment on the sheet."""
    return Edit(SheetChange({"comment": text}), "Comment kept.")


def movement(state: State, text: str) -> Edit:
    """The lowest movement outside the key muscles as typed: a segment, or none.

    Raises:
        RefusedError: It is neither.
    """
    word = text.strip()
    said = NO_MOVEMENT if word.lower() in (NO_MOVEMENT, "0") else word.upper()
    if said not in (*muscles().non_key, NO_MOVEMENT):
        raise RefusedError(f"'{word}' is none of {', '.join(muscles().non_key)}, {NO_MOVEMENT}")
    given: dict[str, str | None] = dict.fromkeys(state.entered_sides, said)
    where = "both sides" if state.both else state.cell.side
    was = _was(state, state.cell, said)
    return Edit(_moved(state.sheet, given), f"Lowest movement outside the key muscles, {where}: {said}{was}")  # fmt: skip


def _moved(sheet: InjurySheet, given: dict[Any, str | None]) -> SheetChange:
    return SheetChange({"movements": sheet.movements.model_dump() | given})


def typed(state: State, text: str) -> Edit:
    """A line typed at the cursor: ranges for its column, or any line of a sheet.

    Raises:
        RefusedError: It is not understood, with why.
    """
    cell = state.cell
    try:
        if begins_a_line(text):
            other = read_more(state.sheet, text)
        elif text.strip() == SAME:
            other = _same(state, cell)
        elif cell.test is None:
            raise RefusedError(f"Here: {accepted(cell)}.")
        else:
            other = read_column(cell.test, cell.side, text, both=state.both)
    except InputError as error:
        fault = str(error.what)
        raise RefusedError(f"{fault}: {error.remedy}" if error.remedy else fault) from None
    change = written_over(state.sheet, other)
    if not change.fields:
        raise RefusedError("Nothing was typed that can be entered.")
    where = ""
    if cell.test and not begins_a_line(text) and is_arms_and_legs(cell.test, text):
        where = f" {'BOTH SIDES' if state.both else cell.side.upper()}, arms / legs"
    return Edit(change, f"Entered{where}: {' '.join(text.split())}{_left(state.sheet, other)}")


def _same(state: State, cell: Cell) -> InjurySheet:
    """Pinprick as light touch, on each side that is meant or has none yet."""
    if cell.test != "pinprick":
        raise RefusedError(f"'{SAME}' stands at pinprick: the same as light touch.")
    touch, pin = state.sheet.light_touch, state.sheet.pinprick
    told = {
        side: getattr(touch, side)
        for side in SIDES
        if side in state.entered_sides or not getattr(pin, side)
    }
    if not any(told.values()):
        raise RefusedError("Light touch is not entered.")
    return InjurySheet.model_validate({"pinprick": told})


def taken(state: State, found: TakenOver) -> Edit:
    """What an ordinary examination gives, over the cells that are not entered.

    What was entered here stays: an ordinary examination is the less exact of the two.

    Raises:
        RefusedError: It gives nothing that is not entered here.
    """
    sheet, given = state.sheet, found.sheet
    fresh: dict[Any, dict[str, str | None]] = {}
    for test in TEST_WORDS:
        for side in SIDES:
            held = getattr(getattr(sheet, test), side)
            new = {s: c for s, c in getattr(getattr(given, test), side).items() if s not in held}
            if new:
                fresh[test, side] = new
    fields = scored(sheet, fresh).fields
    count = sum(map(len, fresh.values()))
    if given.anal_contraction and sheet.anal_contraction is None:
        fields["anal_contraction"] = given.anal_contraction
        count += 1
    if not fields:
        raise RefusedError("Nothing is there to take over that is not here already.")
    return Edit(SheetChange(fields), f"Taken over: {counted(count, 'score')}.")


def lowest_named() -> tuple[str, ...]:
    """The segments at which a movement outside the key muscles counts, each with what moves."""
    rows = muscles().non_key
    return tuple(f"{s} {rows[s].movements[0]}" for s in NAMES if s in rows)
