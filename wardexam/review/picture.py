"""The review as a picture of one page (A4): bars of shares with their intervals, and how sure against how right."""

from collections.abc import Sequence
from html import escape

from wardexam.review.figures import OVERDUE, Figure, Review
from wardexam.review.paper import END, FIRST, percent, period_words, spans_text
from wardexam.review.standards import Standards

WIDTH, HEIGHT = 794, 1123  # px: A4 at 96 to the inch
MARGIN, LINE = 40, 15
NAMES, BAR = 240, 230  # px: of a name, and of a bar of 100 %
SMALL = 'font-size="10"'


def _text(x: float, y: float, text: str, more: str = "") -> str:
    return f'<text x="{x:.0f}" y="{y:.0f}" {more}>{escape(text)}</text>'


def _bar(y: float, figure: Figure) -> list[str]:
    """A share as a bar, its interval as a line over it; one of few is drawn hollow."""
    left = MARGIN + NAMES
    drawn = [
        f'<rect x="{left}" y="{y - 9:.0f}" width="{BAR}" height="10" fill="none" stroke="silver"/>'
    ]
    if figure.count is None or not figure.of or figure.low is None or figure.high is None:
        return drawn
    wide = BAR * figure.count / figure.of
    fill = "none" if figure.few else "gray"
    low, high = left + BAR * figure.low, left + BAR * figure.high
    return [
        *drawn,
        f'<rect class="share" x="{left}" y="{y - 9:.0f}" width="{wide:.1f}" height="10" fill="{fill}" stroke="black"/>',
        f'<path class="interval" d="M{low:.1f} {y - 4:.0f} H{high:.1f} M{low:.1f} {y - 7:.0f} v6'
        f' M{high:.1f} {y - 7:.0f} v6" stroke="black" stroke-width="1.5" fill="none"/>',
    ]


def _row(y: float, figure: Figure, beside: str = "") -> list[str]:
    words = " ".join(f"{percent(figure)} {beside}".split())
    return [
        _text(MARGIN + 8, y, figure.name),
        *_bar(y, figure),
        _text(MARGIN + NAMES + BAR + 8, y, words, SMALL),
    ]


def _reliability(x: float, y: float, figures: Sequence[Figure]) -> list[str]:
    """How often the first site was right against what was said of it, a point for each bin; the line is perfect."""
    side = 150.0
    drawn = [
        f'<rect x="{x:.0f}" y="{y:.0f}" width="{side:.0f}" height="{side:.0f}" fill="none" stroke="black"/>',
        f'<path d="M{x:.0f} {y + side:.0f} L{x + side:.0f} {y:.0f}" stroke="silver"/>',
        _text(x, y + side + 12, "said 0 %", SMALL),
        _text(x + side, y + side + 12, "100 %", f'{SMALL} text-anchor="end"'),
        _text(x - 4, y + 8, "100 %", f'{SMALL} text-anchor="end"'),
        _text(x - 4, y + side, "right 0 %", f'{SMALL} text-anchor="end"'),
    ]
    for f in figures:
        if not f.of or f.spans is None or f.count is None or f.low is None or f.high is None:
            continue
        at, up = x + side * f.spans[1] / 100, y + side * (1 - f.count / f.of)
        low, high = y + side * (1 - f.low), y + side * (1 - f.high)
        fill = "white" if f.few else "black"
        drawn += [
            f'<path d="M{at:.1f} {low:.1f} V{high:.1f}" stroke="black"/>',
            f'<circle class="bin" cx="{at:.1f}" cy="{up:.1f}" r="4" fill="{fill}" stroke="black"/>',
        ]
    return drawn


def picture(review: Review, standards: Standards) -> str:
    """The picture as an SVG document of one page; every text is escaped, patients and doctors are not in it."""
    y = float(MARGIN)
    parts = [
        _text(MARGIN, y, f"Audit of the ward, {period_words(review.period)}", 'font-size="16"'),
        _text(
            MARGIN, y + LINE,
            f"{review.patients} patients, {review.examinations} examinations, {len(review.unread)} left out as not"
            f" readable. Bars: share of all; lines: 95 % interval; hollow: under {standards.few}.", SMALL,
        ),
    ]  # fmt: skip
    y += 3 * LINE

    def section(title: str) -> None:
        nonlocal y
        parts.append(_text(MARGIN, y, title, 'font-weight="bold"'))
        y += LINE

    ends = {(f.group, f.name): f for f in review.of(END)}
    group = ""
    for f in review.of(FIRST):
        if f.group != group:
            group = f.group
            y += LINE / 2
            section(f"How complete at the first examination: {group} ({f.of})")
        later = ends[group, f.name]
        share = f"; {100 * (later.count or 0) / later.of:.0f} % by the end" if later.of else ""
        parts.extend(_row(y, f, share))
        y += LINE
    y += LINE / 2
    section("How soon: within the limit, and the median with the quartiles")
    group = ""
    for f in (f for f in review.of("times") if f.name != OVERDUE):
        if f.group != group:
            group = f.group
            parts.append(_text(MARGIN + 4, y, group, 'font-style="italic"'))
            y += LINE
        parts.extend(_row(y, f, spans_text(f)))
        y += LINE
    y += LINE / 2
    section("Re-examinations and emergencies")
    for f in review.of("re-examinations")[:1]:
        parts.extend(_row(y, f))
        y += LINE
    for f in review.of("emergencies"):
        if f.name == "first called: now" or (
            f.group.endswith("today") and f.name.endswith("today")
        ):
            shown = Figure(f.section, f.group, f"{f.group}: {f.name}", f.count, f.of, f.low, f.high, few=f.few)  # fmt: skip
            parts.append(_text(MARGIN + 8, y, shown.name, SMALL))
            parts.extend(
                [*_bar(y, f), _text(MARGIN + NAMES + BAR + 8, y, percent(f).strip(), SMALL)]
            )
            y += LINE
    y += LINE / 2
    section("The suggestion, against what it was in the end")
    for f in review.of("suggestion"):
        parts.extend(_row(y, f))
        y += LINE
    for f in review.of("suggestion")[:1]:
        if f.left_out:
            parts.append(_text(MARGIN + 8, y, f"left out {f.left_out}: {f.why}", SMALL))
            y += LINE
    parts.extend(_reliability(MARGIN + NAMES, y, review.of("how sure")))
    head = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{WIDTH}" height="{HEIGHT}"'
        f' viewBox="0 0 {WIDTH} {HEIGHT}" font-family="sans-serif" font-size="11">',
        f"<title>{escape(f'Audit of the ward, {period_words(review.period)}')}</title>",
        '<rect width="100%" height="100%" fill="white"/>',
    ]
    return "\n".join([*head, *parts, "</svg>"]) + "\n"
