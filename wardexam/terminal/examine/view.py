"""How the examination looks: state in, lines out."""

from functools import lru_cache
from typing import TYPE_CHECKING, NamedTuple

from wardexam.anatomy.catalogue import Sign, signs_of
from wardexam.exam.answers import ScaleName
from wardexam.exam.findings import REASON_WORDS, Finding, Quality, Reason, Side, qualities
from wardexam.exam.flags import Flag, flags
from wardexam.exam.identity import heading
from wardexam.exam.onset import NEW_BEGAN, onset, onset_words
from wardexam.exam.story import StoryQuestion
from wardexam.exam.text import clean, columns
from wardexam.exam.wording import known_words, narrow, sided
from wardexam.note.limits import span
from wardexam.reasoning.rules.change import differs
from wardexam.terminal.canvas import Line
from wardexam.terminal.edit import status_lines
from wardexam.terminal.examine.reader import Reader
from wardexam.terminal.examine.state import (
    ABOVE,
    BELOW,
    FLAGS,
    GRID,
    LABEL,
    Row,
    State,
    sides,
)
from wardexam.terminal.keys import Key, hint
from wardexam.terminal.looks import Glyphs
from wardexam.terminal.panel import Panel, panel_lines

if TYPE_CHECKING:
    from wardexam.reasoning.rules.reason import Urgency

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
SKIN = slice(6, 24)  # columns of the body between the grades of right and left
GRADE = 6  # columns of the left one behind it
NAME = 24  # columns of the name itself
CELL = 5  # columns of a grade
BEFORE = 11  # columns of what was found before
CHANGED = "*"  # after a grade that is not what it was in the last examination
KNOWN = "k"  # after a finding that is marked as known from before
BLANK = "."  # not examined


class Grid(NamedTuple):
    """The lines of the grid: the rows' names, the grades, what was before."""

    labels: list[Line]
    grades: list[Line]
    before: list[Line]


def which_text(state: State) -> tuple[str, ...]:
    """Which examination it is, in full and in fewer words."""
    visit = state.visit
    again = ", resumed" if visit.resumed else ""
    whole = visit.which
    if visit.amends:
        return (f"{whole}{again}", whole)
    if visit.previous is None:
        return (f"{whole}{again}", "first")
    minutes = (visit.session.now() - visit.previous.at).total_seconds() / 60
    ago = f", last {span(minutes)} ago" if minutes >= 0 else ""
    return (
        f"{whole}{ago}{again}",
        f"{whole}{ago.removesuffix(' ago')}{again}",
        f"{whole}{again}",
        whole,
    )


def heading_text(state: State, width: int, kept: str = "") -> str:
    """Whose body, which examination, kept when, how much of the page is done.

    Args:
        state: The examination.
        width: Columns.
        kept: When it was kept last, in words; empty where nothing was yet.
    """
    e, patient = state.examination, state.visit.patient
    sex = "" if e.context.sex == "unknown" else f" {e.context.sex[0]}"
    age = sex if e.context.age is None else f" {e.context.age}{sex or ' y'}"
    done, whole = state.count
    right = f"  {done} of {whole}"
    when = f"  {kept}" if kept else ""
    if e.entered is not None:  # of when it was, before when it was kept
        when = f"  AT {e.at:%H:%M}{when}"
    words = which_text(state)
    least = f"  {words[-1]}" if state.visit.amends else ""
    # What is left out when it does not fit, the last first.
    tails = [f"{age}  {which}{when}{right}" for which in words]
    tails += [f"{age}{least}{when}{right}", f"{age}{least}{right}", f"{age}{least}", least, ""]
    text = heading(patient, f"{clean(patient.bed)} ", tails, width)
    ends = f"{when}{right}"
    if text.endswith(ends):  # what is kept and done stands at the right edge
        text = text.removesuffix(ends) + " " * (width - columns(text)) + ends
    return text


def began_text(state: State, urgency: "Urgency", key: str) -> str:
    """The question when it began: of what is new where that alone is open, with the key that asks it."""
    new = state.onset_earlier and any(r.undated for r in urgency.reasons)
    return f"{NEW_BEGAN} ({key})" if new else onset().name


def asks_line(state: State, asks: tuple[str, ...], width: int, key: str, began: str = "") -> Line:
    """What was not asked yet that matters most now: as many names as fit whole, and how many there are.

    Args:
        state: The examination.
        asks: The flags in the order in which they matter.
        width: Columns.
        key: The key that asks them.
        began: The question when it began, see `began_text`; as it is first asked where empty.
    """
    e = state.examination
    left = set(e.flags_open)
    open_flags = [flags()[name].short for name in asks if name in left]
    names = [began or onset().name] if e.context.onset == "unknown" else []
    names += open_flags
    if not names:
        return [("All flags asked.", "quiet")]
    count = f"({len(open_flags)} not asked)  {key}" if open_flags else f"({key})"
    text = names[0]
    for name in names[1:]:
        if len(f"Ask  {text}, {name}  {count}") > width:
            break
        text += f", {name}"
    pad = " " * (width - len(f"Ask  {text}{count}"))
    return [("Ask  ", "accent"), (text, ""), (pad, ""), (count, "quiet")]


def grid(state: State, height: int, glyphs: Glyphs) -> Grid:
    """The lines that show on a screen of this height, with the last examination beside them."""
    found = {f.key: f for f in state.examination.findings}
    room, first = state.window(height)
    case = state.visit.case
    change, slides = case.comparison(), case.slides
    labels: list[Line] = [[(f"{state.title:<{LABEL}}", "strong")]]
    head = "answer" if state.page == FLAGS else "right left"
    grades: list[Line] = [[(f"{head:<12}", "quiet")]]
    worse = bool(change and change.worse) or any(s.anew for s in slides)
    before: list[Line] = [
        _beside("now WORSE" if worse else "before", glyphs, "warn" if worse else "quiet")
    ]
    for at in state.placed[first : first + room]:
        if isinstance(at, str):
            labels.append(
                [(at, "strong"), (" ", ""), (glyphs.line * (LABEL - len(at) - 2), "quiet")]
            )
            grades.append([(glyphs.line * 11, "quiet")])
            before.append(_beside("", glyphs))
            continue
        row, here = state.rows[at], at == state.row_at
        labels.append(_label(row, glyphs.pointer if here else " ", here=here))
        grades.append(_grades(state, row, found, state.column if here else -1))
        before.append(_beside(_before(state, row), glyphs))
    blank = _beside("", glyphs)
    lines = height - ABOVE - BELOW
    before += [blank] * (lines - len(before))
    if state.stated:
        labels += [[]] * (lines - len(state.stated) - len(labels))
        labels += [[(line, "strong")] for line in state.stated]
    return Grid(labels, grades, before)


def _beside(text: str, glyphs: Glyphs, style: str = "quiet") -> Line:
    """What was before, and the rule between the grid and the panel."""
    return [(f"{text:<{BEFORE}}", style), (glyphs.rule, "quiet")]


def cursor(state: State, height: int) -> tuple[int, int]:
    """Column and line of the cell under the cursor."""
    several = isinstance(state.row, Sign) and len(sides(state.row)) == 2
    inset = 6 * state.column if several else 3 if isinstance(state.row, Sign) else 0
    return LABEL + inset, ABOVE + 1 + state.line_at(height)


def row_name(row: Row) -> str:
    """What a row is called in the grid."""
    name = row.name if isinstance(row, StoryQuestion) else row.short
    return name or row.name if isinstance(row, Sign) else name


def _label(row: Row, pointer: str, *, here: bool) -> Line:
    return [(pointer, "accent"), (f"{row_name(row):<{LABEL - 1}}", "strong" if here else "")]


def _grades(state: State, row: Row, found: dict[tuple[str, Side], Finding], at: int) -> Line:
    """The cells of a row: right and left, or the one between them."""
    both, several = at >= 0 and state.both, sides(row)
    pieces = list[tuple[str, str]]()
    if isinstance(row, Flag | StoryQuestion):
        answer, blank = _answer(state, row)
        style = "cursor" if at >= 0 else "quiet" if blank else "strong" if answer == "yes" else ""
        return [(f"{answer:<11}", style), (" ", "")]
    if len(several) == 1:
        pieces.append(("   ", ""))
    for index, side in enumerate(several):
        finding, before = found.get((row.id, side)), state.before.get((row.id, side))
        text = mark(finding, before, state.examination.scale)[:CELL]
        known = KNOWN if finding and finding.known and len(text) < CELL else ""
        style = "cursor" if both or index == at else weight(finding)
        pieces.append((f"{text}{known}".ljust(CELL), style))
        pieces.append((" ", ""))
    filled = sum(len(text) for text, _ in pieces)
    return [*pieces, (" " * (12 - filled), "")]


def weight(finding: Finding | None) -> str:
    """How heavy a grade is drawn: out of the usual more than usual, not examined least."""
    if finding is None:
        return "quiet"
    return "strong" if finding.abnormal else ""


def _answer(state: State, row: Flag | StoryQuestion) -> tuple[str, bool]:
    """What was answered to a question, and whether nothing was."""
    if isinstance(row, StoryQuestion):
        return _onset(state), state.examination.context.onset == "unknown"
    answer = state.examination.flags.get(row.id)
    return answer or "not asked", answer is None


def _onset(state: State) -> str:
    """When it began as told now; what was told earlier in the stay stands beside it."""
    told = state.examination.context.onset
    if told != "unknown":
        return onset_words(told)
    return BLANK if state.onset_earlier else "not known"


@lru_cache(1024)
def mark(finding: Finding | None, before: Finding | None, scale: ScaleName) -> str:
    """What a cell says: the grade, the first letter of a quality, `CHANGED` where it was otherwise before."""
    if finding is None:
        return BLANK
    text = narrow(finding, scale)
    if "reinforced" in finding.qualities:
        text += "r"
    elif finding.qualities:
        text += finding.qualities[0][0]
    return f"{text}{CHANGED}" if before and differs(before, finding) else text


def _before(state: State, row: Row) -> str:
    previous = state.visit.previous
    if isinstance(row, Flag):
        return previous.flags.get(row.id, "") if previous else ""
    if isinstance(row, StoryQuestion):
        return onset_words(state.onset_earlier) if state.onset_earlier else ""
    found = tuple(state.before.get((row.id, side)) for side in sides(row))
    return _pair(found, state.examination.scale) if any(found) else ""


@lru_cache(512)
def _pair(found: tuple[Finding | None, ...], scale: ScaleName) -> str:
    return "/".join(mark(f, None, scale) for f in found)


def at_cursor(state: State) -> str:
    """The row under the cursor by its name and side; the question where it is one."""
    row = state.row
    return sided(state.side, row.name) if isinstance(row, Sign) else row.ask


def arrived(state: State, width: int) -> str:
    """Where a search has led: at which sign and side, or at which question, in its own words where they fit."""
    row = state.row
    if isinstance(row, Sign):
        side = "" if state.side == "midline" else f"{state.side.upper()} "  # so that it is seen
        return f"Sign: {side}{row.name}."
    name = row.short if isinstance(row, Flag) else row.name
    asked, room = f"Question: {row.ask}", width - len(_kept(state, "")) - 2
    return asked if len(asked) <= room else f"Question: {name}."


def about(state: State, width: int = 0) -> str:
    """The row under the cursor in full: side, name, segments, where to touch; or the question.

    Args:
        state: The examination.
        width: Columns, where what does not fit is left out, the last first; 0 for all.
    """
    row, finding = state.row, state.finding
    if not isinstance(row, Sign):
        return row.ask
    old = known_words(finding.known) if finding and finding.known else ""
    more = [m for m in (old, row.segment_range, row.nerve, row.place) if m]
    said = sided(state.side, row.name)
    for count in range(len(more), 0, -1):
        text = f"{said}: {', '.join(more[:count])}"
        if not width or len(text) <= width:
            return text
    return said


def at_hand(state: State) -> str:
    """The row under the cursor where something else is said beside it: side, name and segments."""
    row = state.row
    if not isinstance(row, Sign):
        return row.ask
    both = f"both {row.name}" if state.both else sided(state.side, row.name)
    return f"{both}  {row.segment_range}".rstrip()


def panel_width(width: int) -> int:
    """How many columns the panel has on a screen of this width."""
    return width - GRID - 1


def panel(
    state: State, reader: Reader, size: tuple[int, int], glyphs: Glyphs, *, suggested: str, why: str, fell: str,
    body: list[str],
) -> list[Line]:  # fmt: skip
    """What the signs mean so far; below it, where there is room, the body.

    Args:
        state: The examination.
        reader: What it means.
        size: Columns and lines of the screen.
        glyphs: What bars are drawn with.
        suggested: The key that goes to the suggested sign.
        why: The key that shows every reason.
        fell: That an accepted suggestion is out of the note; empty where none is.
        body: The body, where it is drawn here.
    """
    width, height = size
    lines = height - ABOVE - BELOW
    room = lines - len(body) - bool(body)
    drawn = [[], *map(_drawn, body)] if body else []
    visit = state.visit
    of = Panel(
        state.examination, reader.urgency, reader.reading, visit.session.now(), reader.failed, visit.previous,
        visit.case.stay, fell,
    )  # fmt: skip
    lines_above = panel_lines(
        of, panel_width(width), room, line=width, suggested=suggested, why=why, bar=glyphs.full
    )
    return [[(" ", ""), *line] if line else [] for line in lines_above + drawn]


def _drawn(line: str) -> Line:
    """A line of the body: quiet where nothing is known, of the skin or of a grade."""
    right, skin, rest = line[: SKIN.start], line[SKIN], line[SKIN.stop :]
    blank = not skin.strip(" .\u00b7")
    return [
        (right, _told(right)), (skin, "quiet" if blank else ""),
        (rest[:GRADE], _told(rest[:GRADE])), (rest[GRADE:], "quiet"),
    ]  # fmt: skip


def _told(grade: str) -> str:
    return "quiet" if grade.strip() == "-" else ""


def figure(state: State, width: int, *, ascii_only: bool) -> list[str]:
    """The body with its grades and the loss of sensation."""
    from wardexam.note import body

    scale = state.examination.scale
    return body.figure(state.examination, scale, ascii_only=ascii_only, width=width, aside=True)


def limb_words(row: Sign, side: Side) -> str:
    """The limb of a sign on a side: ``left leg``, ``head``."""
    return row.limb if side == "midline" else f"{side} {row.limb}"


def choices(state: State, untestable: str) -> tuple[str, list[str]]:
    """What the awaited letter is about, and what it may be.

    Args:
        state: Where the cursor stands.
        untestable: The key that says that a sign is not testable.
    """
    row = state.row
    if state.awaits in ("reason", "limb") and isinstance(row, Sign):
        reasons = [f"{key} {REASON_WORDS[reason]}" for key, reason in REASON_KEYS.items()]
        if state.awaits == "limb":
            return f"Nothing of the {limb_words(row, state.side)} here testable:", reasons
        return f"Not testable, {row.name}:", [*reasons, f"{untestable} whole limb, then why"]
    if state.awaits == "quality":
        return "How it came:", [f"{key} {qualities()[q].words}" for key, q in QUALITY_KEYS.items()]
    if state.awaits == "jump":
        return "To the reflex:", [f"{s.letter} {s.name}" for s in signs_of("reflexes")]
    return "Rows:", [f"{key} {short}" for key, _, short in state.sets]


def hint_text(state: State, keys: tuple[Key, ...], glyphs: Glyphs, width: int) -> str:
    """What is accepted at the cursor, then the other keys; or how an awaited letter is left out."""
    if state.awaits:
        return "another key leaves it"
    accepted = _legend(state, width - len(LEAST_HINT))
    if not isinstance(state.row, Sign) or state.row.part != "reflexes":
        keys = tuple(key for key in keys if key.action not in ("reinforced", "quality"))
    return f"{accepted} {glyphs.between} {hint(keys, width - len(accepted) - 4)}"


LEAST_HINT = "   ? keys | "  # what stands beside the longest legend
BOTH = "BOTH SIDES  "


def _legend(state: State, width: int) -> str:
    """What each key gives at the cursor: in words, else by the marks; what has no room is counted."""
    armed = BOTH if state.both else ""
    text = f"{armed}{state.accepted}"
    if len(text) > width and isinstance(state.row, Sign):
        text = f"{armed}{state.legend(words=False)}"
    return _counted(text.split("  "), width)


def _counted(parts: list[str], width: int) -> str:
    """As many parts as fit in so many columns, each whole, and how many more there are."""
    for count in range(len(parts), 0, -1):
        left = len(parts) - count
        text = "  ".join([*parts[:count], *([f"{left} more"] if left else [])])
        if len(text) <= width:
            return text
    return parts[0]


def _kept(state: State, said: str) -> str:
    visit = state.visit  # where the line itself says why it is not kept, nothing more is
    return "" if said and said == visit.draft.problem else visit.kept_words


def status(state: State, said: str, width: int, *, wrote: bool = False) -> list[Line]:
    """What is under the cursor, what the last key did, how much is on disk: see `status_lines`."""
    kept = _kept(state, said)
    told = said.startswith(at_cursor(state))  # it says itself where the cursor stands
    words = about(state, width - len(kept) - 2)
    return status_lines(at_hand(state), said, kept, width, wrote=wrote and not told, about=words)
