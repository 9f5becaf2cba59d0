"""How the examination looks: state in, lines out."""

from functools import lru_cache
from typing import NamedTuple

from wardexam.anatomy.catalogue import Sign, signs_of
from wardexam.exam.answers import ScaleName
from wardexam.exam.findings import QUALITY_WORDS, REASON_WORDS, Finding, Quality, Reason, Side
from wardexam.exam.flags import Flag
from wardexam.exam.identity import heading
from wardexam.exam.onset import OnsetQuestion, onset_words
from wardexam.exam.row_sets import row_sets
from wardexam.exam.text import clean, cut, whole_words
from wardexam.exam.wording import narrow, sided
from wardexam.reasoning.rules.change import differs
from wardexam.terminal.canvas import Line
from wardexam.terminal.examine.reader import Reader
from wardexam.terminal.examine.state import FLAGS, Row, State, sides
from wardexam.terminal.keys import Key, hint
from wardexam.terminal.looks import Glyphs
from wardexam.terminal.panel import more_lines, panel_lines

WIDE, WIDE_PANEL = 120, 38  # from this width the figure joins on the right of a panel of this width
# One letter for each reason why a sign is not testable, shown when it is asked for.
REASON_KEYS: dict[str, Reason] = {
    "p": "pain", "c": "cast", "a": "amputation", "r": "cannot_relax", "d": "declined", "s": "sedated",
    "f": "cannot_follow", "w": "dressing", "k": "contracture", "n": "not_available", "o": "other",
}  # fmt: skip
QUALITY_KEYS: dict[str, Quality] = {
    "i": "inverted",
    "c": "crossed",
    "p": "pendular",
    "h": "hung_up",
    "r": "reinforced",
}
# Why a sign may not be testable, with the letters: the first stand in the status line, the rest below.
REASONS = [f"{key} {REASON_WORDS[reason]}" for key, reason in REASON_KEYS.items()]
REASONS_SAID = 5


LABEL = 23  # columns of a row's name with its segments; a blank stands before the grades
CHANGED = "*"  # after a grade that is not what it was in the last examination
KNOWN = "k"  # after a finding that is marked as known from before


class Grid(NamedTuple):
    """The lines of the grid: the rows' names, the grades, what was before."""

    labels: list[Line]
    grades: list[Line]
    before: list[Line]


def heading_text(state: State, width: int) -> str:
    """Whose examination it is, when, by whom, how much of the page is done, the scale."""
    e, patient = state.examination, state.visit.patient
    age = "" if e.context.age is None else f" {e.context.age}y"
    done, whole = state.count
    when, by = f"{age}  {e.at:%d %b %H:%M}", f" {cut(clean(e.examiner), 10)}"
    few, scale = f"  {done}/{whole}", f"  scale {e.scale}"
    count = f"{few}, {len(e.findings)} in all"
    # What is left out when it does not fit, the last first; the count in full before the scale.
    tails = (
        f"{when}{by}{count}{scale}", f"{when}{by}{few}{scale}", f"{when}{by}{count}", f"{when}{by}{few}",
        f"{when}{by}", when, age, "",
    )  # fmt: skip
    return heading(patient, f"{clean(patient.bed)} ", tails, width)


def grid(state: State, height: int, glyphs: Glyphs) -> Grid:
    """The rows that show on a screen of this height, with the last examination beside them."""
    found = {f.key: f for f in state.examination.findings}
    room, first = state.window(height)
    change = state.visit.case.comparison()
    labels: list[Line] = [[(f"{state.title[:24]:<25}", "strong")]]
    head = "answer      " if state.page == FLAGS else " R     L    "
    grades: list[Line] = [[(head, "quiet")]]
    before = ["now WORSE" if change and change.worse else "before"]
    for number, row in enumerate(state.rows[first : first + room], first):
        here = number == state.row_at
        labels.append([(_label(row, glyphs.pointer if here else " "), "")])
        grades.append(_grades(state, row, found, state.column if here else -1))
        before.append(_before(state, row))
    labels += [[(line, "strong")] for line in state.stated]
    before += [""] * (height - 3 - len(before))
    return Grid(labels, grades, [[(f"{text:<9}{glyphs.rule}", "quiet")] for text in before])


def _label(row: Row, pointer: str) -> str:
    if isinstance(row, Flag):
        return f"{pointer}{row.short[:24]}"
    if isinstance(row, OnsetQuestion):
        return f"{pointer}{row.name}"
    segments = row.segment_range
    text = f"{row.short or row.name:<{min(17, LABEL - 1 - len(segments))}} {segments}"
    return f"{pointer}{text.rstrip():<{LABEL}} "


def _grades(state: State, row: Row, found: dict[tuple[str, Side], Finding], at: int) -> Line:
    columns, pieces = sides(row), list[tuple[str, str]]()
    width = 5 if len(columns) == 2 else 10
    both = at >= 0 and state.both
    for index, side in enumerate(columns):
        known = ""
        if isinstance(row, Flag):
            text = state.examination.flags.get(row.id, "not asked")
        elif isinstance(row, OnsetQuestion):
            text = _onset(state)
        else:
            finding, before = found.get((row.id, side)), state.before.get((row.id, side))
            text = mark(finding, before, state.examination.scale)
            known = KNOWN if finding and finding.known else ""
        style = "cursor" if both or index == at else ""
        text = text[:width]
        if known:
            rest = width - len(text) - len(known)
            pieces += [(text, style), (known, style or "quiet"), (" " * rest, style)]
            pieces += [(" " * (1 + min(0, rest)), "")]
        else:
            pieces += [(f"{text:<{width}}", style), (" ", "")]
    return pieces


def _onset(state: State) -> str:
    """When it began as told now; what was told earlier in the stay stands beside it."""
    told = state.examination.context.onset
    if told != "unknown":
        return onset_words(told)
    return "-" if state.onset_earlier else "not known"


@lru_cache(1024)
def mark(finding: Finding | None, before: Finding | None, scale: ScaleName) -> str:
    """What a cell says: the grade, the first letter of a quality, `CHANGED` where it was otherwise before."""
    text = narrow(finding, scale)
    if finding is None:
        return text
    if "reinforced" in finding.qualities:
        text += "r"
    elif finding.qualities:
        text += finding.qualities[0][0]
    return f"{text}{CHANGED}" if before and differs(before, finding) else text


def _before(state: State, row: Row) -> str:
    previous = state.visit.previous
    if isinstance(row, Flag):
        return previous.flags.get(row.id, "") if previous else ""
    if isinstance(row, OnsetQuestion):
        return onset_words(state.onset_earlier) if state.onset_earlier else ""
    found = tuple(state.before.get((row.id, side)) for side in sides(row))
    return _pair(found, state.examination.scale) if any(found) else ""


@lru_cache(512)
def _pair(found: tuple[Finding | None, ...], scale: ScaleName) -> str:
    return "/".join(narrow(f, scale) for f in found)[:9]


def at_cursor(state: State) -> str:
    """The row under the cursor by its name and side; the question where it is one."""
    row = state.row
    return sided(state.side, row.name) if isinstance(row, Sign) else row.ask


def arrived(state: State, width: int) -> str:
    """Where a search has led: at which sign and side, or at which question, in its own words where they fit."""
    row = state.row
    if isinstance(row, Sign):
        return f"Sign: {sided(state.side, row.name)}."
    name = row.short if isinstance(row, Flag) else row.name
    asked, room = f"Question: {row.ask}", width - len(_kept(state, "")) - 2
    return asked if len(asked) <= room else f"Question: {name}."


def about(state: State) -> str:
    """The row under the cursor in full: name, segments, where to touch; or the question."""
    row, finding = state.row, state.finding
    if not isinstance(row, Sign):
        return row.ask
    old = f"known before, {clean(finding.known)}" if finding and finding.known else ""
    more = [m for m in (old, row.segment_range, row.nerve, row.place) if m]
    return f"{sided(state.side, row.name)}{': ' if more else ''}{', '.join(more)}"


def panel_width(width: int) -> int:
    """How many columns the panel has on a screen of this width."""
    return WIDE_PANEL - 1 if width >= WIDE else min(60, width - 47)


def panel(
    state: State, reader: Reader, width: int, glyphs: Glyphs, *, suggested: str, asks: str, why: str
) -> list[Line]:
    """What the signs mean so far; below it, where there is room, what changed and what else is urgent."""
    e, urgency, room = state.examination, reader.urgency, panel_width(width)
    lines = panel_lines(
        e,
        urgency,
        reader.reading,
        room,
        failed=reader.failed,
        glyphs=glyphs,
        suggested=suggested,
        asks=asks,
        why=why,
        now=state.visit.session.now(),
    )
    return lines + more_lines(e, state.visit.previous, urgency, room, state.visit.session.now())


def figure(state: State, width: int, *, ascii_only: bool) -> list[str]:
    """The body with its grades and the loss of sensation."""
    from wardexam.note import body

    scale = state.examination.scale
    return body.figure(state.examination, scale, ascii_only=ascii_only, width=max(35, width))


def hint_text(state: State, keys: tuple[Key, ...], glyphs: Glyphs, width: int) -> str:
    """What is accepted at the cursor, then the other keys; or what the awaited letter may be."""
    if state.awaits == "reason":
        return "  ".join(REASONS[REASONS_SAID:])[: width - 1]
    if state.awaits == "quality":
        return "  ".join(f"{k} {QUALITY_WORDS[q]}" for k, q in QUALITY_KEYS.items())[: width - 1]
    if state.awaits == "jump":
        return "  ".join(f"{s.letter} {s.name}" for s in signs_of("reflexes"))[: width - 1]
    if state.awaits == "rows":
        sets = (f"{n} {s.short}" for n, s in enumerate(row_sets().values(), 1))
        return "  ".join(sets)[: width - 1]
    accepted = f"BOTH SIDES  {state.accepted}" if state.both else state.accepted
    return f"{accepted} {glyphs.between} {hint(keys, width - len(accepted) - 4)}"


def _kept(state: State, said: str) -> str:
    draft = state.visit.draft
    if draft.problem:  # the line itself says where it is kept
        return "" if said == draft.problem else "NOT IN THE WARD"
    return f"kept to change {state.visit.kept}"


def status(state: State, said: str, width: int) -> Line:
    """What was said last, else what stands at the cursor; at the end, how much is on disk."""
    kept = _kept(state, said)
    room = width - len(kept) - 2
    line = whole_words(said or about(state), room)
    return [(f"{line:<{max(0, room)}}", ""), (f" {kept}", "quiet")]
