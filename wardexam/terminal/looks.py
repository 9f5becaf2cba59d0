"""How meanings look on this terminal: styles by colours and background, glyphs by locale.

Every meaning that a style carries is carried by text or shape as well. One accent; the alarm brings
its own background, so that it is the same on any. Where the background is not known, only colours
that read on black and on white are used; contrast is computed in the tests (WCAG 2.2, 1.4.3). With high
contrast there is only the terminal's own text, plain, bold, underlined or reversed.
"""

from dataclasses import dataclass

from rich.style import Style

from wardexam.terminal.environment import Background, Terminal

Looks = dict[str, Style]

# The accent and the quiet tone: numbers of the 256 colours, whose shades no terminal chooses.
ACCENTS: dict[Background, str] = {"dark": "color(79)", "light": "color(23)", "unknown": "color(29)"}
QUIET: dict[Background, str] = {
    "dark": "color(248)",
    "light": "color(240)",
    "unknown": "color(243)",
}
# Of the sixteen, whose shades the terminal chooses, none reads on both black and white.
ACCENTS_16: dict[Background, str | None] = {"dark": "cyan", "light": "blue", "unknown": None}


def looks(terminal: Terminal) -> Looks:
    """The style of each name that a line may use."""
    back = terminal.background
    alarm = Style(bold=True, reverse=True)
    # The Linux console shows a dim text in a grey that cannot be read.
    quiet = Style() if terminal.term == "linux" else Style(dim=True)
    accent = Style(bold=True)
    if terminal.high_contrast:
        quiet = Style()
    elif terminal.colours >= 256:
        alarm = Style(color="color(231)", bgcolor="color(124)", bold=True)
        quiet = Style(color=QUIET[back])
        accent = Style(color=ACCENTS[back], bold=True)
    elif terminal.colours:
        alarm = Style(color="bright_white", bgcolor="red", bold=True)
        accent = Style(color=ACCENTS_16[back], bold=True)
    return {
        "": Style(), "quiet": quiet, "strong": Style(bold=True), "cursor": Style(reverse=True),
        "accent": accent, "alarm": alarm, "warn": Style(bold=True, underline=True),
    }  # fmt: skip


@dataclass(frozen=True, slots=True)
class Glyphs:
    """What shapes are drawn with.

    Attributes:
        pointer: Left of the row under the cursor.
        full: A whole cell of a bar.
        rule: Between the grid and the panel.
        between: Between hints.
        line: Of what a rule between groups is drawn.
    """

    pointer: str
    full: str
    rule: str
    between: str
    line: str


# Beyond ASCII only what the fonts of consoles and of PuTTY have (the WGL4 set).
ASCII = Glyphs(">", "#", " ", "|", "-")
DRAWN = Glyphs("\u25ba", "\u2588", "\u2502", "\u2502", "\u2500")


def glyphs(terminal: Terminal) -> Glyphs:
    """The shapes that this terminal can show."""
    return ASCII if terminal.ascii else DRAWN
