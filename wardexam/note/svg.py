"""The examination as a picture: a body facing the reader, grades at their sites, as SVG text."""

from html import escape

from wardexam.exam.examination import Examination, Patient
from wardexam.exam.findings import Side
from wardexam.exam.text import clean
from wardexam.note.note import cell

# Where each sign stands on the picture, in px, on the patient's right (left of the page).
PLACES = {
    "biceps": (62, 118), "brachioradialis": (50, 158), "triceps": (38, 136), "hoffmann": (30, 215),
    "abdominal_upper": (108, 150), "abdominal_lower": (108, 178), "knee": (92, 270), "ankle": (92, 345), "plantar": (78, 372),
}  # fmt: skip
# Skin areas shaded where sensation is lost: x, y, width, height on the patient's right.
AREAS = {
    "pin_C5": (70, 92, 14, 26), "pin_C6": (54, 150, 14, 40), "pin_C7": (46, 200, 10, 16), "pin_C8": (58, 196, 8, 18), "pin_T1": (70, 126, 8, 24),
    "pin_T4": (96, 100, 24, 10), "pin_T10": (98, 165, 22, 10), "pin_L2": (96, 212, 22, 24), "pin_L3": (100, 244, 16, 24),
    "pin_L4": (104, 280, 10, 40), "pin_L5": (92, 290, 10, 50), "pin_S1": (86, 350, 12, 14),
}  # fmt: skip
WIDTH = 240


def _mirror(x: int, side: Side, width: int = 0) -> int:
    return x if side == "right" else WIDTH - x - width


def render(patient: Patient, examination: Examination) -> str:
    """The picture as an SVG document; every text is escaped."""
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{WIDTH}" height="420" font-family="monospace" font-size="11">',
        f"<title>{escape(clean(patient.bed))}, {examination.at:%Y-%m-%d %H:%M}</title>",
        '<g fill="none" stroke="black"><circle cx="120" cy="45" r="20"/><path d="M120 65 V200 M120 80 L75 120 L55 200 M120 80 L165 120 L185 200 M120 200 L105 280 L100 365 M120 200 L135 280 L140 365"/></g>',
        '<text x="20" y="20">RIGHT</text><text x="190" y="20">LEFT</text>',
    ]
    sides: tuple[Side, ...] = ("right", "left")
    for sign, (x, y, width, height) in AREAS.items():
        for side in sides:
            finding = examination.finding(sign, side)
            if finding and finding.answer in ("reduced", "absent"):
                tone = "0.35" if finding.answer == "reduced" else "0.7"
                parts.append(
                    f'<rect x="{_mirror(x, side, width)}" y="{y}" width="{width}" height="{height}" fill="gray" fill-opacity="{tone}"/>'
                )
    for sign, (x, y) in PLACES.items():
        for side in sides:
            anchor = "end" if side == "right" else "start"
            parts.append(
                f'<text x="{_mirror(x, side)}" y="{y}" text-anchor="{anchor}">{escape(cell(examination.finding(sign, side), None))}</text>'
            )
    parts.append(
        '<text x="10" y="410">- not examined; shaded: pinprick reduced or absent</text></svg>'
    )
    return "\n".join(parts) + "\n"
