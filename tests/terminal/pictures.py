"""A picture of a screen as terminals of several kinds show it, as a small SVG made of its cells."""

import re
from collections.abc import Callable
from dataclasses import dataclass
from xml.sax.saxutils import escape

from rich.style import Style

from wardexam.terminal.app import WardApp
from wardexam.terminal.environment import TRUECOLOUR, Terminal
from wardexam.terminal.looks import glyphs, looks

WIDE, HIGH = 8, 16  # of a cell
# The sixteen colours as xterm has them.
XTERM = (
    "000000", "cd0000", "00cd00", "cdcd00", "0000ee", "cd00cd", "00cdcd", "e5e5e5",
    "7f7f7f", "ff0000", "00ff00", "ffff00", "5c5cff", "ff00ff", "00ffff", "ffffff",
)  # fmt: skip


@dataclass(frozen=True)
class Kind:
    """A kind of terminal, with the colours of its text and background."""

    title: str
    terminal: Terminal
    text: str
    ground: str


KINDS = (
    Kind("dark", Terminal("xterm", TRUECOLOUR, ascii=False, background="dark"), "e5e5e5", "000000"),
    Kind("light", Terminal("xterm", TRUECOLOUR, False, background="light"), "000000", "ffffff"),
    Kind("16 colours", Terminal("xterm", 16, ascii=False), "e5e5e5", "000000"),
    Kind("ASCII, no colour", Terminal("vt100", 0, ascii=True), "e5e5e5", "000000"),
)


def colours(style: Style, kind: Kind, palette: tuple[str, ...] = XTERM) -> tuple[str, str]:
    """The colours of a text and its background there, as six hexadecimal digits."""

    def hexadecimal(colour, default):
        if colour is None or colour.is_default:
            return default
        if colour.number is not None and colour.number < 16:
            return palette[colour.number]
        return colour.get_truecolor().hex.removeprefix("#")

    text = hexadecimal(style.color, kind.text)
    ground = hexadecimal(style.bgcolor, kind.ground)
    if style.dim:  # as xterm, PuTTY and the VTE do: two thirds of the way from the background
        pairs = [(int(text[i : i + 2], 16), int(ground[i : i + 2], 16)) for i in (0, 2, 4)]
        text = "".join(f"{(2 * a + b) // 3:02x}" for a, b in pairs)
    return (ground, text) if style.reverse else (text, ground)


def _line(strip, y: int, kind: Kind) -> str:
    rects, texts, x = [], [], 0
    for text, style, _ in strip:
        ink, ground = colours(style or Style(), kind)
        width = len(text)
        if ground != kind.ground:
            rects.append(
                f'<rect x="{x * WIDE}" y="{y * HIGH}" width="{width * WIDE}" height="{HIGH}" fill="#{ground}"/>'
            )
        if text.strip():
            look = "" if ink == kind.text else f' fill="#{ink}"'
            look += ' font-weight="bold"' if style and style.bold else ""
            look += ' text-decoration="underline"' if style and style.underline else ""
            texts.append(f'<tspan x="{x * WIDE}"{look}>{escape(text.rstrip())}</tspan>')
        x += width
    line = f'<text y="{y * HIGH + 12}">{"".join(texts)}</text>' if texts else ""
    return "".join(rects) + line


def _screen(app: WardApp, kind: Kind, line: Callable[..., str] = _line) -> list[str]:
    """The lines of the app's screen in one kind of terminal; the app is left as it was."""
    before = app.terminal, app.looks, app.glyphs
    app.terminal, app.looks, app.glyphs = kind.terminal, looks(kind.terminal), glyphs(kind.terminal)
    app.screen.redraw()
    strips = enumerate(app.screen._compositor.render_strips())
    lines = [drawn for y, strip in strips if (drawn := line(strip, y, kind))]
    app.terminal, app.looks, app.glyphs = before
    app.screen.redraw()
    return lines


def picture(app: WardApp) -> str:
    """The app's screen in each kind of terminal, under each other."""
    width, height = app.size
    parts = []
    for number, kind in enumerate(KINDS):
        parts += [
            f'<g transform="translate(8 {8 + number * (height + 2) * HIGH})" fill="#{kind.text}">',
            f'<text y="10" fill="#888888">{kind.title}</text><g transform="translate(0 {HIGH})">',
            f'<rect width="{width * WIDE}" height="{height * HIGH}" fill="#{kind.ground}"/>',
            *_screen(app, kind),
            "</g></g>",
        ]
    whole = f'width="{width * WIDE + 16}" height="{len(KINDS) * (height + 2) * HIGH + 16}"'
    head = f'<svg xmlns="http://www.w3.org/2000/svg" {whole} font-family="monospace" font-size="13.3" xml:space="preserve">'
    return "\n".join([head, *parts, "</svg>\n"])


def _words(strip, y: int, kind: Kind) -> str:
    """As `_line`, each run of words held to its cells, whatever font draws it."""
    parts, x = [], 0
    for text, style, _ in strip:
        ink, ground = colours(style or Style(), kind)
        if ground != kind.ground:
            parts.append(
                f'<rect x="{x * WIDE}" y="{y * HIGH}" width="{len(text) * WIDE}" height="{HIGH}" fill="#{ground}"/>'
            )
        for words in re.finditer(r"\S+(?: \S+)*", text):
            look = "" if ink == kind.text else f' fill="#{ink}"'
            look += ' font-weight="bold"' if style and style.bold else ""
            look += ' text-decoration="underline"' if style and style.underline else ""
            place = f'x="{(x + words.start()) * WIDE}" y="{y * HIGH + 12}" textLength="{len(words[0]) * WIDE}"'
            parts.append(f"<text {place}{look}>{escape(words[0])}</text>")
        x += len(text)
    return "".join(parts)


def one(app: WardApp, title: str) -> str:
    """The app's screen as a dark terminal shows it, for who only looks at it.

    Args:
        app: The app.
        title: What the picture shows, for who cannot see it.
    """
    kind, (width, height) = KINDS[0], app.size
    whole = f'width="{width * WIDE + 16}" height="{height * HIGH + 16}"'
    box = f'viewBox="-8 -8 {width * WIDE + 16} {height * HIGH + 16}"'
    head = f'<svg xmlns="http://www.w3.org/2000/svg" {whole} {box} font-family="monospace" font-size="13.3" fill="#{kind.text}" role="img">'
    ground = f'<rect x="-8" y="-8" width="100%" height="100%" rx="6" fill="#{kind.ground}"/>'
    return "\n".join(
        [head, f"<title>{escape(title)}</title>", ground, *_screen(app, kind, _words), "</svg>\n"]
    )
