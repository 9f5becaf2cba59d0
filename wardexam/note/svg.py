"""The body as an SVG picture: the same cells, grades and marks as on the screen."""

from html import escape

from wardexam.exam.examination import Examination, Patient
from wardexam.exam.text import clean
from wardexam.note.body import HALF, SIDES, STATES, WORDS, grades, skin, table

CELL_WIDTH, CELL_HEIGHT = 10, 18  # px
MARGIN, TOP, NAMES = 60, 40, 150
# How dark each state of the skin is drawn, 0 to 1; a pattern beside it tells them apart without colour.
TONES = {"unknown": 0.0, "normal": 0.08, "heightened": 0.2, "reduced": 0.45, "absent": 0.85}


def _cells(examination: Examination) -> list[str]:
    drawn = []
    for side in SIDES:
        for row, states in enumerate(skin(examination, side)):
            for column, state in enumerate(states):
                if not state:
                    continue
                at = column if side == "right" else 2 * HALF - 1 - column
                dashes = ' stroke-dasharray="1 3"' if state == "unknown" else ""
                drawn.append(
                    f'<rect class="{state}" x="{MARGIN + at * CELL_WIDTH}" y="{TOP + row * CELL_HEIGHT}"'
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


def render(patient: Patient, examination: Examination) -> str:
    """The picture as an SVG document; every text is escaped. The patient's right is on the left."""
    body = 2 * HALF * CELL_WIDTH
    rows = len(table()["rows"])
    width, height = 2 * MARGIN + body + NAMES, TOP + rows * CELL_HEIGHT + 50
    left = MARGIN + body
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{width}" height="{height}"'
        f' viewBox="0 0 {width} {height}" font-family="monospace" font-size="12">',
        f"<title>{escape(clean(patient.bed))}, {examination.at:%Y-%m-%d %H:%M}</title>",
        '<rect width="100%" height="100%" fill="white"/>',
        f'<text x="{MARGIN - 8}" y="20" text-anchor="end">RIGHT</text><text x="{left + 8}" y="20">LEFT</text>',
        *_cells(examination),
    ]
    for row, at in grades(examination, None).items():
        y = TOP + row * CELL_HEIGHT + 13
        parts.append(
            f'<text x="{MARGIN - 8}" y="{y}" text-anchor="end">{escape(at.right)}</text>'
            f'<text x="{left + 8}" y="{y}">{escape(at.left)}</text>'
            f'<text x="{left + MARGIN}" y="{y}">{escape(at.name)}</text>'
        )
    end = TOP + rows * CELL_HEIGHT + 22
    note = "- not examined; skin: the worst that was found"
    parts += [f'<text x="{MARGIN // 4}" y="{end}">{note}</text>', *_legend(end + 18), "</svg>"]
    return "\n".join(parts) + "\n"
