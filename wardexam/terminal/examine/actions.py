"""What each action of the examination does: a row of `ACTIONS` for each row of `keys.EXAMINE`.

An action that writes takes its change from `edits` and hands it to the screen, which has the visit
make it. The letters and digits that grade are answered by `grade`, `answer_flag` and `choose`.
"""

from collections.abc import Callable
from typing import TYPE_CHECKING

from wardexam.anatomy.catalogue import Sign, dermatomes, signs_of
from wardexam.errors import InputError, WardexamError
from wardexam.exam.answers import SCALES, answers_for, scales
from wardexam.exam.entry import Change
from wardexam.exam.findings import REASON_WORDS, Finding, Quality, Reason, Side
from wardexam.exam.flags import Flag
from wardexam.exam.late_entry import ASKED
from wardexam.exam.looking_up import Named
from wardexam.exam.onset import onset
from wardexam.exam.story import StoryQuestion
from wardexam.exam.swapping import DONE, SAME, in_what, stays, swapped
from wardexam.exam.text import clean, counted
from wardexam.note.suggestion import accepted_text
from wardexam.records.repository import AmendedMeanwhileError
from wardexam.terminal.edit import RefusedError
from wardexam.terminal.examine import edits, view
from wardexam.terminal.examine.edits import Edit
from wardexam.terminal.examine.state import FLAGS, sides
from wardexam.terminal.screens.find import FindScreen
from wardexam.terminal.screens.reasons import ReasonsScreen
from wardexam.terminal.screens.story import StoryScreen
from wardexam.terminal.screens.text import TextScreen
from wardexam.visit import Step

if TYPE_CHECKING:
    from collections.abc import Sequence

    from wardexam.exam.act_kinds import ActKind
    from wardexam.exam.acts import Act
    from wardexam.injury.sheet import InjurySheet
    from wardexam.terminal.examine.entering import Entering

# --- what grades


def grade(screen: "Entering", key: str) -> None:
    """A digit or sign: the grade at the cursor, or the beginning of a number or level."""
    row = screen.state.row
    state = screen.state
    again, state.split = key == state.split, state.split or key
    if not again and (doubt := edits.split_grade(state, state.split, screen.key("undo"))):
        raise RefusedError(
            doubt
        )  # and so does each grade after it, which would land a cell too early
    state.split = ""
    if isinstance(row, Sign) and (row.measured or (row.level and key in "123456789")):
        _ask_number(screen, key)
    elif begun := edits.begins_number(screen.state, key):
        _ask_graded_number(screen, begun, key)
    else:
        _write_and_go_on(screen, edits.grade(screen.state, key))


def _write_and_go_on(screen: "Entering", made: list[Edit], said: str = "") -> None:
    """Write an answer on one side or both, and put the cursor where the next is given."""
    state = screen.state
    if len(made) > 1:
        said = said or edits.said_of_both(state, made)
    if not screen.change(*made, said=said):
        return
    if state.both or len(made) > 1:
        state.side_at = 1
    state.both = False
    last, asked = state.at_end, state.row
    state.advance()
    state.moved_on = True
    if asked is onset():
        save, keys = screen.key("save"), screen.key("help")
        screen.said += f". Digits grade, {save} saves, {keys} shows all keys."
    elif last:
        save, rows = screen.key("save"), screen.key("rows")
        screen.said += f". Last sign here: {save} saves, {rows} more."
    screen.changed()


def _write_range(screen: "Entering", row: Sign, on: tuple[Side, ...], text: str) -> None:
    """Grade the dermatomes from one segment to another as one keystroke."""
    made, said = edits.ranged(row, on, text)
    screen.write(*made, said=said)


def answer_flag(screen: "Entering", row: Flag, answer: str) -> None:
    """Yes or no to a red flag; the status line asks the next."""
    if screen.change(edits.flag(row, answer, screen.state.examination.context)):
        screen.state.move(1)
        then = screen.state.row
        if (
            screen.wrote  # else what came of it is told, which the next question must not take the place of
            and isinstance(then, Flag)
            and then is not row
            and then.id not in screen.state.examination.flags
        ):
            said = f"{row.short}: {answer}. Next: {then.ask}"
            screen.said = said if len(said) < screen.size.width else f"Next: {then.ask}"
        screen.changed()


def _ask_graded_number(screen: "Entering", found: list[Finding], typed: str) -> None:
    """A number typed at once grades the sign that it belongs to."""
    amount = answers_for(found[0].row.answers).amount
    assert amount is not None
    unit = amount.unit
    screen.state.both = False
    where = "both sides" if len(found) > 1 else found[0].side

    def numbered(text: str) -> None:
        made = [edits.number(finding, unit, text) for finding in found]
        _write_and_go_on(screen, made, f"{where} {found[0].row.name} {text.strip()} {unit}")

    screen.ask(f"{where} {found[0].row.name}, {unit}:", numbered, typed)
    screen.redraw()


def _ask_number(screen: "Entering", typed: str = "") -> None:
    state, row = screen.state, screen.state.row
    if isinstance(row, Sign) and row.level:
        where, on = ("both sides" if state.both else state.side), state.graded_sides
        state.both = False
        screen.ask(
            f"{where} {row.name}: reduced below (C2 to S4):",
            lambda text: _write_and_go_on(screen, edits.level(row, on, text)),
            f"T{typed}" if typed else "",
        )
        screen.redraw()
        return
    if isinstance(row, Sign) and dermatomes(row):
        where, on = ("both sides" if state.both else state.side), state.graded_sides
        state.both = False
        screen.ask(
            f"{where} {edits.way(row)} reduced from, to ({edits.RANGE}):",
            lambda text: _write_range(screen, row, on, text),
            choices=(f"Instead of reduced, a third word: {edits.other_grades(row)}",),
        )
        screen.redraw()
        return
    state.both = False
    finding = edits.measured(state)
    amount = answers_for(finding.row.answers).amount if finding else None
    if finding is None or amount is None:
        screen.say("No number belongs here. The line below says what does.")
        return
    side = "" if finding.side == "midline" else f"{finding.side} "

    def numbered(text: str) -> str:
        if not screen.change(edits.number(finding, amount.unit, text)):
            return screen.said
        if finding.key == (state.row.id, state.side):
            state.advance()
        screen.changed()
        return ""

    screen.ask(f"{side}{finding.row.name}, {amount.unit}:", numbered, typed)


def _unchanged(screen: "Entering") -> None:
    """The earlier grade of this cell, examined again and unchanged."""
    made = edits.unchanged(screen.state)
    _write_and_go_on(screen, made, edits.said_of_unchanged(screen.state, made))


def _both(screen: "Entering") -> None:
    """Have the next grade go to both sides, or to one again."""
    state = screen.state
    if len(sides(state.row)) == 1:
        screen.say("This row has one cell: no side to grade with it.")
        return
    state.both = not state.both
    screen.said = "The next grade goes to both sides." if state.both else "One side again."
    screen.redraw()


def _quality(screen: "Entering", wanted: Quality) -> None:
    made = edits.quality(screen.state, wanted)
    screen.write(*made, said=edits.said_of_qualities(made))


def _not_testable(screen: "Entering") -> None:
    if not isinstance(screen.state.row, Sign):
        screen.say(f"Here: {screen.state.accepted}.")
        return
    screen.state.awaits = "reason"
    screen.draw_status()


def _say_not_testable(screen: "Entering", row: Sign, reason: Reason, *, whole: bool) -> None:
    """Write why a sign could not be tested, and go on down the same side; or why nothing of its limb on the page could."""
    state, side = screen.state, screen.state.side
    if whole:
        made = edits.limb_not_testable(state, row, side, reason)
        where = view.limb_words(row, side)
        many = counted(len(made), "sign")
        screen.write(*made, said=f"{where} not testable: {REASON_WORDS[reason]}, {many} here")
    elif state.both:
        _write_and_go_on(screen, [edits.not_testable(row, s, reason) for s in state.graded_sides])
    elif screen.change(edits.not_testable(row, side, reason)):
        state.move(1)  # the other limb may be there
        screen.changed()


def _known(screen: "Entering") -> None:
    """Mark what was found at the cursor as old and documented before; again takes the mark away."""
    state = screen.state
    old = edits.may_be_known(state)
    state.both = False
    if all(f.known for f in old):
        screen.write(*edits.known(old, ""), said=edits.said_of_known(old, ""))
        return
    asked = f"{edits.named_known(old)}: documented when, where (enter: {state.documented}):"

    def mark(text: str) -> None:
        words = state.documented = " ".join(text.split()) or state.documented
        screen.write(*edits.known(old, words), said=edits.said_of_known(old, words))

    screen.ask(asked, mark)
    screen.redraw()


# --- a letter that was awaited


def _await(what: str) -> Callable[["Entering"], None]:
    def begin(screen: "Entering") -> None:
        screen.state.awaits = what
        screen.draw_status()

    return begin


def choose(screen: "Entering", key: str) -> None:
    """The letter or number that was awaited."""
    state, row = screen.state, screen.state.row
    kind, state.awaits = state.awaits, ""
    if kind == "reason" and key == screen.key("not_testable") and isinstance(row, Sign):
        state.awaits = "limb"
        screen.draw_status()
    elif kind in ("reason", "limb") and key in view.REASON_KEYS and isinstance(row, Sign):
        state.reason_key = key
        _say_not_testable(screen, row, view.REASON_KEYS[key], whole=kind == "limb")
    elif kind == "quality" and key in view.QUALITY_KEYS:
        _quality(screen, view.QUALITY_KEYS[key])
    elif kind == "rows":
        page = next((name for letter, name, _ in state.sets if letter == key), "")
        if page:
            _show(screen, page)
        else:
            screen.say("No set of rows has that number. Nothing was changed.")
    elif kind == "jump":
        found = next((s for s in signs_of("reflexes") if s.letter == key), None)
        if found:
            screen.go(found.id, "right" if found.sides == "each" else "midline")
        else:
            screen.say("No reflex has that letter. Nothing was changed.")
    else:
        screen.say("Nothing was changed.")


# --- where the cursor goes


def _move(rows: int = 0, side: int | None = None) -> Callable[["Entering"], None]:
    return lambda screen: screen.move(rows, side)


def _show(screen: "Entering", page: str) -> None:
    screen.state.show(page)
    _shown(screen)


def _turn(by: int) -> Callable[["Entering"], None]:
    def turn(screen: "Entering") -> None:
        screen.state.turn(by)
        _shown(screen)

    return turn


def _shown(screen: "Entering") -> None:
    if screen.state.page == FLAGS:
        screen.said = "Red flags: first those that matter for what is entered."
        screen.redraw()
        return
    done, whole = screen.state.count
    screen.said = f"{screen.state.title}: {done} of {whole} done."
    screen.redraw()


def _unexamined(screen: "Entering") -> None:
    if screen.state.go_to_open():
        screen.said = ""
        screen.redraw()
    else:
        screen.say("All rows shown here are done.")


def _suggested(screen: "Entering") -> None:
    """To the sign that is proposed, on the side that is said."""
    reading = screen.reader.reading
    if reading and reading.proposed:
        screen.go(*reading.proposed.key)
    else:
        screen.say("No suggestion yet.")


def _find(screen: "Entering") -> None:
    """Look a sign, a flag or when it began up by its name, and go there."""

    def found(what: Named) -> None:
        screen.state.go_to(what)
        screen.said = view.arrived(screen.state, screen.size.width)
        screen.redraw()

    title = view.heading_text(screen.state, screen.size.width)
    screen.ward_app.push_screen(FindScreen(title, found, screen.reader.urgency))


def _why(screen: "Entering") -> None:
    """Every reason of what is entered, and what was done about each."""
    visit = screen.visit

    def write(
        rules: list[str], kind: "ActKind", what: str, done: "Callable[[Sequence[Act]], None]",
        failed: Callable[[WardexamError], None],
    ) -> None:  # fmt: skip
        try:
            acts = visit.act(rules, kind, what)
        except WardexamError as error:
            failed(error)
        else:
            done(acts)

    shown = ReasonsScreen(visit.patient, lambda: screen.reader.urgency, write)
    screen.ward_app.push_screen(shown)


def _order(screen: "Entering") -> None:
    state = screen.state
    state.down_first = not state.down_first
    screen.say("Grading goes down one side." if state.down_first else "Grading goes side to side.")


# --- words


def _comment(screen: "Entering") -> None:
    state, finding = screen.state, screen.state.finding
    screen.ask(
        "Comment:" if finding is None else f"Comment on {finding.row.name}:",
        lambda text: screen.write(edits.comment(state, text)),
        finding.comment if finding else state.examination.comment,
    )


def _impression(screen: "Entering") -> None:
    screen.ask(
        "Impression:",
        lambda text: screen.write(Edit(Change("impression", "", text), "Impression kept.")),
        screen.state.examination.impression,
    )


def _made(screen: "Entering") -> None:
    """Ask when it was examined, where that was before it is entered."""

    def told(text: str) -> str:
        try:
            made = Edit(*screen.visit.made_at(text))
        except InputError as error:
            return error.line
        screen.write(made)
        return ""

    screen.ask(ASKED, told)


def _context(screen: "Entering") -> None:
    """Ask the story: onset, complaint, its side, weight-bearing, pain, injury."""

    def answer(asked: StoryQuestion, code: str | None) -> bool:
        said = f"{asked.name}: {asked.words(code)}"
        return screen.change(Edit(Change("context", asked.field, code), said))

    title = view.heading_text(screen.state, screen.size.width)
    patient = screen.visit.patient
    story = StoryScreen(
        title,
        lambda: screen.state.examination.context,
        answer,
        screen.changed,
        lambda: screen.reader.urgency,
        patient.remark,
        screen.visit.previous,
    )
    screen.ward_app.push_screen(story)


def _injury(screen: "Entering") -> None:
    """The cord injury sheet over this examination."""
    screen.ward_app.open_sheet(screen.visit.patient.id, urgency=lambda: screen.reader.urgency)


def take_scores(screen: "Entering", sheet: "InjurySheet") -> None:
    """Write the scores of a cord injury sheet as signs; what is graded otherwise here only after a yes."""
    found = edits.scores_taken(screen.visit.examination, sheet)
    if not found.fresh and not found.differ:
        screen.say("The sheet has no score that is not graded here.")
        return
    if not found.differ:
        screen.write(*found.fresh, said=found.said(found.fresh))
        return

    def answered(text: str) -> None:
        made = [*found.fresh, *found.differ] if text.strip().lower() == "over" else found.fresh
        if made:
            screen.write(*made, said=found.said(made))
        else:
            screen.say("Nothing was changed.")

    screen.ask(
        "Graded otherwise here. Type over to write the scores over them, enter keeps them:",
        answered,
        choices=[edit.said for edit in found.differ],
    )
    screen.redraw()


def _scale(screen: "Entering") -> None:
    """The next scale; where tendon reflexes are graded, both grades are shown and a yes is asked for first."""
    state = screen.state
    scale = SCALES[(SCALES.index(state.examination.scale) + 1) % len(SCALES)]
    change = Edit(
        Change("scale", "", scale),
        f"Scale {scales()[scale].name}; what was graded is shown on it and stays as graded.",
    )
    shown = edits.on_scales(state, scale)
    if not shown:
        screen.write(change)
        return
    screen.confirm(
        f"Show all reflexes on the scale {scales()[scale].name}? enter or y: yes, other keys: no",
        lambda: screen.write(change),
        shown,
    )


def _accept(screen: "Entering") -> None:
    if screen.state.examination.suggestion:
        screen.write(Edit(Change("suggestion", "", ""), "Suggestion withdrawn from the note."))
        return
    reading = screen.reader.settled()
    text = accepted_text(reading) if reading else ""
    if text:
        screen.write(Edit(Change("suggestion", "", text), "Suggestion accepted into the note."))
    else:
        screen.say("No suggestion to accept yet.")


def _rest_normal(screen: "Entering") -> None:
    """State the rest of a limb normal; after a yes where it is of many signs, was abnormal before, or in part not testable."""
    made = edits.rest_normal(screen.state, screen.visit.session.now(), screen.key("rest"))
    about = edits.doubted(screen.state, made)
    if not about:
        screen.write(made)
        return
    limb = made.change.key.partition(" ")[2]
    screen.confirm(
        f"Was all the rest of the {limb} examined, and normal? enter or y: yes, other keys: no",
        lambda: screen.write(made),
        about,
    )


def _swap(screen: "Entering") -> None:
    """Right and left swapped in all that was entered, after a yes: for who took the one for the other."""
    found = screen.visit.examination
    if not (made := swapped(found)):
        screen.say(SAME)
        return
    said = DONE.format(in_what(found))
    screen.confirm(
        f"Swap right and left in {in_what(found)}? enter or y: yes, other keys: no",
        lambda: screen.write(*(Edit(change, said) for change in made)),
        stays(found),
    )


def _figure(screen: "Entering") -> None:
    patient, plain = screen.visit.patient, screen.ward_app.terminal.ascii
    text = "\n".join(view.figure(screen.state, screen.size.width - 1, ascii_only=plain))
    over = f"{patient.identity}, bed {clean(patient.bed)}\n"
    urgency = screen.reader.urgency
    figure = TextScreen("Figure", text, patient=patient, over=over, urgency=urgency)
    screen.ward_app.push_screen(figure)


# --- back and forth


def _undo(screen: "Entering") -> None:
    _stepped(screen, screen.visit.undo(), "undone")


def _redo(screen: "Entering") -> None:
    _stepped(screen, screen.visit.redo(), "done again")


def _stepped(screen: "Entering", step: Step | None, verb: str) -> None:
    if step is None:
        screen.say(f"Nothing {verb}: no change is left.")
        return
    screen.state.moved_on = False
    change = step.change
    if change.what == "finding":  # the correction lands where what was wrong stood
        sign, _, side = change.key.partition(" ")
        screen.state.go(sign, side)
    named = step.said.split(". ")[0].rstrip(".") or change.key.replace("_", " ") or change.what
    screen.said = f"{verb.capitalize()}: {named}."
    screen.changed()


# --- saving and leaving


def _save(screen: "Entering") -> None:
    """Save and show the note; an amendment asks for its reason first, what has no sign in it or changed nothing whether to."""
    if screen.visit.untouched:
        screen.say("Nothing was entered: nothing is saved.")
        return
    found = screen.visit.examination
    if not (found.findings or found.rest_normal or found.flags or screen.visit.amends):
        screen.confirm(
            "No sign was examined and no flag asked. Save it all the same? enter or y saves:",
            lambda: _save_for(screen, ""),
        )
        return
    if screen.visit.changes_nothing:
        screen.confirm(
            "Nothing was changed. Save a further revision all the same? enter or y saves:",
            lambda: screen.with_reason(lambda why: _save_for(screen, why)),
        )
        return
    screen.with_reason(lambda why: _save_for(screen, why))


def _save_for(screen: "Entering", why: str) -> None:
    visit, entries, reading = screen.visit, screen.visit.entries, screen.reader.settled()
    screen.save(
        visit.saving(reading, why),
        visit.unsent(reading, why),
        lambda: visit.entries == entries,
        lambda saved: screen.ward_app.saved(visit, saved, screen.end),
        lambda error: _not_saved(screen, error),
    )


def _not_saved(screen: "Entering", error: WardexamError) -> None:
    """Say why; what someone else has saved meanwhile is shown beside what is entered here.

    Once both have been seen, saving makes a revision after theirs.
    """
    if not isinstance(error, AmendedMeanwhileError):
        screen.say(error.line[: screen.size.width])
        return
    theirs = error.stored
    text = screen.visit.go_after(theirs, screen.key("save"))
    by = theirs.amendment.by if theirs.amendment else theirs.saved_by
    screen.said = (
        f"Not saved: {clean(by)} {'amended' if theirs.amendment else 'saved'} it meanwhile."
    )
    screen.changed()
    bed = clean(screen.visit.patient.bed)
    screen.ward_app.push_screen(TextScreen(f"Amended meanwhile  bed {bed}", text))


# What leaves it armed that the next grade goes to both sides: everything else ends it.
KEEP_BOTH = frozenset({
    "both", "unchanged", "number", "not_testable", "known", "help", "commands", "repaint", "suspend",
})  # fmt: skip
ACTIONS: dict[str, Callable[["Entering"], None]] = {
    "up": _move(-1),
    "down": _move(1),
    "left": _move(side=0),  # the patient's right stands on the left
    "right": _move(side=1),
    "both": _both,
    "unchanged": _unchanged,
    "reinforced": lambda screen: _quality(screen, "reinforced"),
    "quality": _await("quality"),
    "not_testable": _not_testable,
    "known": _known,
    "clear": lambda screen: screen.write(edits.cleared(screen.state)),
    "number": _ask_number,
    "comment": _comment,
    "undo": _undo,
    "redo": _redo,
    "jump": _await("jump"),
    "find": _find,
    "why": _why,
    "unexamined": _unexamined,
    "suggested": _suggested,
    "order": _order,
    "part": _turn(1),
    "part_back": _turn(-1),
    "rows": _await("rows"),
    "flags": lambda screen: _show(
        screen,
        (screen.state.behind_flags or screen.state.first_page)
        if screen.state.page == FLAGS
        else FLAGS,
    ),
    "rest": _rest_normal,
    "swap": _swap,
    "figure": _figure,
    "scale": _scale,
    "accept": _accept,
    "impression": _impression,
    "made": _made,
    "injury": _injury,
    "context": _context,
    "save": _save,
    "leave": lambda screen: screen.leave(),
}
