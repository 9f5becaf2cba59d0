"""How a cord injury sheet looks: state in, lines out."""

import textwrap
from itertools import zip_longest
from typing import NamedTuple

from wardexam.exam.identity import heading
from wardexam.exam.text import clean, counted
from wardexam.injury.changed import FALL, MAYBE
from wardexam.injury.computed import Computed, Result, in_words
from wardexam.injury.impairment import NO_GRADE
from wardexam.injury.sheet import SIDES, InjurySheet
from wardexam.injury.sums import Sum
from wardexam.injury.tables import STANDING_WORDS, rules, standard
from wardexam.injury.worksheet import ASSUMED, WHOLE, reasons_told, with_rules
from wardexam.terminal.canvas import Line
from wardexam.terminal.injury.edits import COUNTED, RANGE, accepted
from wardexam.terminal.injury.state import (
    ABOVE,
    BELOW,
    COLUMNS,
    HEADS,
    QUESTIONS,
    ROWS,
    Cell,
    State,
    about,
    named,
)
from wardexam.terminal.keys import Key, hint
from wardexam.terminal.looks import Glyphs

GRID = 31  # columns of the grid, the rule and a blank behind it
NAME = 6  # columns of a segment's name, the pointer before it
CELL = 4  # columns of a score
WORD = 18  # columns of a question's name
WIDE = 62  # columns from which the panel has room for the levels of both modalities
LABEL = 15  # columns of what a result is called
BLANK = "."  # not entered
TESTS_SHORT = ("touch", "pin", "power")
SCORES_CAUTION_IN_SHORT = "Suggestion, for senior review."
# What a result is called in the panel, those of a side first.
OF_SIDES = {"sensory_level": "sensory level", "motor_level": "motor level"}
ZONES = {"sensory_zone": "sensory zone", "motor_zone": "motor zone"}
SUMS = {"arm_motor": "arms", "leg_motor": "legs", "light_touch": "touch", "pinprick": "pin"}
SHORT = {"not applicable": "NA"}
BEGIN = (
    f"Digits score and go down. enter types a column: {RANGE}; with a slash for the left: 2t9, 0 / 2t10, 0. "
    "At pinprick = is the same as light touch.",
    "What is not entered stays unknown, never normal.",
)


def heading_text(state: State, width: int) -> str:
    """Whose body, and which sheet."""
    visit = state.visit
    which = f"  {visit.which}"
    before = f"Cord injury  bed {clean(visit.patient.bed)}  "
    return heading(visit.patient, before, (which, ""), width)


# --- the grid


def grid(state: State, height: int, glyphs: Glyphs) -> list[Line]:
    """The lines of the grid that show on a screen of this height."""
    room, first = state.window(height)
    asked = ROWS[state.row] in QUESTIONS
    head: Line = [(" " * NAME, "")]
    sides: Line = [(" " * NAME, "")]
    for at, name in enumerate(TESTS_SHORT):
        here = state.column // 2 == at and not asked
        head.append((f"{name:<{CELL * 2}}", "strong" if here else "quiet"))
        for side in range(len(SIDES)):
            at_side = here and (state.both or state.column % 2 == side)
            sides.append((f"{'RL'[side]:<{CELL}}", "strong" if at_side else "quiet"))
    rule = (glyphs.rule, "quiet")
    lines: list[Line] = [[*head, rule], [*sides, rule]]
    lines += [[*_row(state, row, glyphs), rule] for row in range(first, first + room)]
    blank = " " * (NAME + CELL * len(COLUMNS))
    lines += [[(blank, ""), rule]] * (height - ABOVE - BELOW - len(lines))
    return lines


def _row(state: State, row: int, glyphs: Glyphs) -> Line:
    name, here = ROWS[row], row == state.row
    pointer = glyphs.pointer if here else " "
    if name in QUESTIONS:
        label = next(short for q, (short, _) in QUESTIONS.items() if q == name)
        cells = _answers(state, name, here=here)
        line: Line = [
            (pointer, "accent"),
            (f"{label:<{WORD - 1}}", "strong" if here else ""),
            *cells,
        ]
        return [*line, (" " * (NAME + CELL * len(COLUMNS) - sum(len(t) for t, _ in line)), "")]
    line = [(pointer, "accent"), (f"{name:<{NAME - 1}}", "strong" if here else "")]
    for column, (test, side) in enumerate(COLUMNS):
        if not state.stands(row, column):
            line.append((" " * CELL, ""))
            continue
        found = state.sheet.score(test, side, name)
        at = here and (column == state.column or (state.both and column // 2 == state.column // 2))
        normal = found is not None and found.digit is not None and not found.marked
        style = "cursor" if at else "quiet" if found is None else ""
        if not at and normal and found is not None and found.digit != _full(test):
            style = "strong"
        line += [(f"{found.code if found else BLANK:<{CELL - 1}}", style), (" ", "")]
    return line


def _full(test: str) -> int:
    return standard().motor.normal if test == "motor" else standard().sensory.normal


def _answers(state: State, question: str, *, here: bool) -> Line:
    sheet = state.sheet
    if question != "movement":
        answer = getattr(sheet, question)
        return [(f"{answer or BLANK:<4}", "cursor" if here else "" if answer else "quiet")]
    line: Line = []
    for side in SIDES:
        said = getattr(sheet.movements, side)
        at = here and (state.both or state.cell.side == side)
        line += [(f"{said or BLANK:<4}", "cursor" if at else "" if said else "quiet"), (" ", "")]
    return line


def cursor(state: State, height: int) -> tuple[int, int]:
    """Column and line of the cell under the cursor."""
    _, first = state.window(height)
    if ROWS[state.row] in QUESTIONS:
        left = state.cell.row == "movement" and state.cell.side == "left"
        return WORD + (5 if left else 0), ABOVE + HEADS + state.row - first
    return NAME + CELL * state.column, ABOVE + HEADS + state.row - first


# --- the panel


class Page(NamedTuple):
    """What is told below the results: the lines that fit, from the page's first on, and how many there are."""

    lines: list[Line]
    whole: int


def panel(state: State, width: int, room: int, more: str) -> list[Line]:
    """The results, always all of them; below them what changed, what is to be checked and why, as much as fits.

    Args:
        state: The sheet.
        width: Columns.
        room: Lines.
        more: The key that shows further reasons.
    """
    lines = results(state.visit.computed, width, wide=width > WIDE)
    page = told(state, width, room)
    below = page.lines
    if len(below) < page.whole:
        after = page.whole - state.page - len(below)
        words = f"{counted(after, 'line')} more" if after else "from the first again"
        below = [*below, [(f"{words}: {more}", "quiet")]]
    blank: list[Line] = [[]] * (room - len(lines) - len(below) - 1)
    return [*lines, *below, *blank, [(SCORES_CAUTION_IN_SHORT, "quiet")]]


def told(state: State, width: int, room: int) -> Page:
    """What is told below the results of a panel of so many columns and lines."""
    computed = state.visit.computed
    lines = [line for item in _told(state, computed, width) for line in item]
    left = room - len(results(computed, width, wide=width > WIDE)) - 1  # the caution at the foot
    if len(lines) > left:
        left -= 1  # how many more there are
    return Page(lines[state.page : state.page + left], len(lines))


def results(computed: Computed, width: int, *, wide: bool) -> list[Line]:
    """The levels, the scale, the zones and the sub-scores."""
    found = computed.results
    cell = (width - LABEL) // 2
    lines: list[Line] = [[(" " * LABEL, ""), (f"{'right':<{cell}}left", "quiet")]]
    named_ = dict(OF_SIDES)
    if wide:
        named_ = {"light_touch_level": "touch level", "pinprick_level": "pin level"} | named_
    for kind, label in named_.items():
        lines += _row_of(label, [found[f"{kind}_{side}"] for side in SIDES], cell)
    lines += _row_of("level", [found["neurological_level"]], width - LABEL)
    lines += _row_of("injury", [found["completeness"]], width - LABEL)
    lines += _scale(found["impairment"], width)
    for kind, label in ZONES.items():
        lines += _row_of(label, [found[f"{kind}_{side}"] for side in SIDES], cell)
    for kind, label in SUMS.items():
        sides = [computed.sums[f"{kind}_{side}"] for side in SIDES]
        total = computed.sums[kind]
        known = total.text if total.determined else f"{total.text} ({_sum(total)})"
        text = f"{_sum(sides[0])} + {_sum(sides[1])} = {known}"
        lines.append([(f"{f'{label} of {total.full}':<{LABEL}}", "quiet"), (text, "")])
    return lines


def _sum(total: Sum) -> str:
    """A sum, or from what to what it may be."""
    return total.text if total.determined else f"{total.least}-{total.most}"


def short(result: Result) -> str:
    """The values of a result: the one that there is, or all that remain."""
    words = in_words(result.values)
    for long, brief in SHORT.items():
        words = words.replace(long, brief)
    return f"{words}*" if result.assumed else words


def _row_of(label: str, values: list[Result], cell: int) -> list[Line]:
    held = [textwrap.wrap(short(v), cell - 1, break_on_hyphens=False) for v in values]
    lines: list[Line] = []
    for at, parts in enumerate(zip_longest(*held, fillvalue="")):
        line: Line = [(f"{'' if at else label:<{LABEL}}", "quiet")]
        for part, value in zip(parts, values, strict=True):
            line.append((f"{part:<{cell}}", "strong" if value.determined else ""))
        lines.append(line)
    return lines


def _scale(result: Result, width: int) -> list[Line]:
    """The impairment scale; one grade with what it says."""
    grade = standard().grades.get(result.values[0])
    if not result.determined or grade is None or result.values == (NO_GRADE,):
        return _row_of("scale", [result], width - LABEL)
    wrapped = textwrap.wrap(f"{short(result)}  {grade.words}", width - LABEL - 1)
    lines: list[Line] = [[(f"{'scale':<{LABEL}}", "quiet"), (wrapped[0], "strong")]]
    return lines + [[(" " * (LABEL + 3) + more, "")] for more in wrapped[1:]]


def _told(state: State, computed: Computed, width: int) -> list[list[Line]]:
    """What is told below the results, each thing whole: what changed, what to check, what is missing, why."""
    if state.sheet == InjurySheet():
        return [_item(text, width) for text in BEGIN]
    items: list[list[Line]] = []
    missing = [_item(f"Not entered: {_missing(computed)}", width)] if computed.not_entered else []
    if state.remarks:
        items += missing
        items += [_item(f"Taken over: {text}", width) for text in state.remarks]
    for text in state.visit.since:
        style = "warn" if text.startswith((FALL.upper(), MAYBE.upper())) else "strong"
        items.append(_item(text, width, style))
    items += [_item(f"To check: {with_rules(d)}", width, "strong") for d in computed.doubts]
    if any(r.assumed for r in computed.results.values()):
        items.append(_item(ASSUMED, width))
    texts = [
        t for t in reasons_told(computed) if t[1:] or "(rule" in t[0]
    ]  # what says more than above
    texts.sort(key=lambda t: not t[0].startswith(WHOLE["impairment"]))
    reasons = [[line for text in each for line in _item(_plain(text), width)] for each in texts]
    items += reasons if state.remarks else reasons + missing
    return items + [_item(text, width) for text in _rules(computed)]


def _missing(computed: Computed) -> str:
    """What is not entered, both sides of a test as one where the same is."""
    right, left = (f"{side} " for side in SIDES)
    said = [*computed.not_entered]
    for text in computed.not_entered:
        other = left + text.removeprefix(right)
        if text.startswith(right) and other in said:
            said[said.index(text)] = f"both {text.removeprefix(right)}"
            said.remove(other)
    return "; ".join(said)


def _rules(computed: Computed) -> list[str]:
    """The rules that decide here, in words."""
    used = {n for r in computed.results.values() for n in r.rules}
    used |= {n for doubt in computed.doubts for n in doubt.rules}
    return [
        f"Rule {n}, {STANDING_WORDS[rules()[n].standing]}: {rules()[n].words}" for n in sorted(used)
    ]


def _plain(text: str) -> str:
    return text.replace(" (not determinable)", "")


def _item(text: str, width: int, style: str = "") -> list[Line]:
    lines = textwrap.wrap(text, width - 1, subsequent_indent=" ", break_on_hyphens=False)
    return [[(line, style)] for line in lines]


# --- the lines below


def at_cursor(state: State) -> str:
    """The cell under the cursor: its name, where it is tested, and how a marked score counts."""
    cell: Cell = state.cell
    if cell.test is None:
        return named(cell)
    name = f"both {named(cell).removeprefix(cell.side).strip()}" if state.both else named(cell)
    where = about(cell.test, cell.row)
    found = state.sheet.score(cell.test, cell.side, cell.row)
    text = f"{name}  {where}".rstrip()
    if found is not None and found.marked:
        rating = state.sheet.rating(cell.test, cell.side, cell.row)
        text += f"  not from the injury, {COUNTED[rating]}"
    return text


def hint_text(state: State, keys: tuple[Key, ...], glyphs: Glyphs, width: int) -> str:
    """What is accepted at the cursor, then the other keys."""
    armed = "BOTH SIDES  " if state.both else ""
    taken = f"{armed}{accepted(state.cell)}"
    return f"{taken} {glyphs.between} {hint(keys, width - len(taken) - 4)}"
