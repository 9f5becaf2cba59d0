"""The body as an SVG picture: the same cells, grades and marks as on the screen."""

import textwrap
from html import escape

from wardexam.exam.examination import Amendment, Examination, Patient
from wardexam.exam.identity import known
from wardexam.exam.in_error import IN_CAPITALS, error_line, marked_by
from wardexam.exam.text import clean, columns
from wardexam.note.body import HALF, SIDES, STATES, WORDS, grades, skin, table, weak

CELL_WIDTH, CELL_HEIGHT = 10, 18  # px
MARGIN, NAMES = 60, 150
LINE, WIDEST = 16, 56  # px and columns of a line of the heading
# How dark each state of the skin is drawn, 0 to 1; a pattern beside it tells them apart without colour.
TONES = {"unknown": 0.0, "normal": 0.08, "heightened": 0.2, "reduced": 0.45, "absent": 0.85}


def _heading(patient: Patient, examination: Examination, in_error: Amendment | None) -> list[str]:
    """Who it is and when, in lines of at most `WIDEST` columns, where it was entered in error that before; nothing is left out."""
    error = textwrap.wrap(error_line(said), WIDEST) if (said := marked_by(examination, in_error)) else []  # fmt: skip
    bed = f"bed {clean(patient.bed)}, {examination.at:%Y-%m-%d %H:%M}"
    lines = [""]
    for part in [*known(patient), bed]:
        joined = f"{lines[-1]}, {part}".removeprefix(", ")
        if columns(joined) <= WIDEST:
            lines[-1] = joined
        else:
            lines += _pieces(part)
    return [*error, *(line for line in lines if line)]


def _pieces(text: str) -> list[str]:
    """A text in pieces of at most `WIDEST` columns."""
    pieces = [""]
    for character in text:
        if columns(pieces[-1] + character) > WIDEST:
            pieces.append("")
        pieces[-1] += character
    return pieces


def _cells(examination: Examination, top: int) -> list[str]:
    drawn = []
    for side in SIDES:
        for row, states in enumerate(skin(examination, side)):
            for column, state in enumerate(states):
                if not state:
                    continue
                at = column if side == "right" else 2 * HALF - 1 - column
                dashes = ' stroke-dasharray="1 3"' if state == "unknown" else ""
                drawn.append(
                    f'<rect class="{state}" x="{MARGIN + at * CELL_WIDTH}" y="{top + row * CELL_HEIGHT}"'
                    f' width="{CELL_WIDTH}" height="{CELL_HEIGHT}" fill="black" fill-opacity="{TONES[state]}"'
                    f' stroke="gray" stroke-width="0.5"{dashes}/>'
                )
    return drawn


def _legend(y: int) -> list[str]:
    drawn, x = [], MARGIN // 4
    for state in STATES[1:]:
        drawn.append(
            f'<rect x="{x}" y="{y - 9}" width="10" height="10" fill="black"'
            f' fill-opacity="{TONES[state]}" stroke="gray"/>'
        )
        word = WORDS.get(state, state)
        drawn.append(f'<text x="{x + 14}" y="{y}">{word}</text>')
        x += 30 + 7 * len(word)
    return drawn


def render(patient: Patient, examination: Examination, in_error: Amendment | None = None) -> str:
    """The picture as an SVG document; every text is escaped. The patient's right is on the left.

    Args:
        patient: Whose it is.
        examination: What was found.
        in_error: Who says that it was entered in error, when and why: that stands first.
    """
    body = 2 * HALF * CELL_WIDTH
    rows = len(table()["rows"])
    heading = _heading(patient, examination, in_error)
    top = len(heading) * LINE + 40
    width, height = 2 * MARGIN + body + NAMES, top + rows * CELL_HEIGHT + 50
    also = [words for row in weak(examination).values() for words in row]
    height += LINE * len(also)
    left, words = MARGIN + body, top - 20
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}"'
        f' viewBox="0 0 {width} {height}" font-family="monospace" font-size="12">',
        f"<title>{f'{IN_CAPITALS}, ' if marked_by(examination, in_error) else ''}{escape(patient.identity)}, bed {escape(clean(patient.bed))}, {examination.at:%Y-%m-%d %H:%M}</title>",
        '<rect width="100%" height="100%" fill="white"/>',
        *(
            f'<text x="{MARGIN // 4}" y="{(n + 1) * LINE}">{escape(line)}</text>'
            for n, line in enumerate(heading)
        ),
        f'<text x="{MARGIN - 8}" y="{words}" text-anchor="end">RIGHT</text><text x="{left + 8}" y="{words}">LEFT</text>',
        *_cells(examination, top),
    ]
    for row, at in grades(examination, None).items():
        y = top + row * CELL_HEIGHT + 13
        parts.append(
            f'<text x="{MARGIN - 8}" y="{y}" text-anchor="end">{escape(at.right)}</text>'
            f'<text x="{left + 8}" y="{y}">{escape(at.left)}</text>'
            f'<text x="{left + MARGIN}" y="{y}">{escape(at.name)}</text>'
        )
    end = top + rows * CELL_HEIGHT + 22
    note = "- not examined; skin: the worst that was found"
    parts += [f'<text x="{MARGIN // 4}" y="{end}">{note}</text>', *_legend(end + 18)]
    parts += [
        f'<text x="{MARGIN // 4}" y="{end + 18 + LINE * n}">{escape(words)}</text>'
        for n, words in enumerate(also, 1)
    ]
    parts.append("</svg>")
    return "\n".join(parts) + "\n"
