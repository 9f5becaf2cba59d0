"""Every style reads on every background it may meet, and none is the only carrier of a meaning."""

import itertools

import pytest

from tests.terminal.pictures import XTERM, Kind, colours
from wardexam.terminal.environment import TRUECOLOUR, Terminal
from wardexam.terminal.looks import ASCII, DRAWN, glyphs, looks

# WCAG 2.2, 1.4.3: 4.5 to 1 for text.
ENOUGH = 4.5
# The sixteen colours as terminals ship them (their manuals and sources; from memory).
PALETTES = {
    "xterm": XTERM,
    "console": (
        "000000", "aa0000", "00aa00", "aa5500", "0000aa", "aa00aa", "00aaaa", "aaaaaa",
        "555555", "ff5555", "55ff55", "ffff55", "5555ff", "ff55ff", "55ffff", "ffffff",
    ),
    "putty": (
        "000000", "bb0000", "00bb00", "bbbb00", "0000bb", "bb00bb", "00bbbb", "bbbbbb",
        "555555", "ff5555", "55ff55", "ffff55", "5555ff", "ff55ff", "55ffff", "ffffff",
    ),
    "windows": (
        "0c0c0c", "c50f1f", "13a10e", "c19c00", "0037da", "881798", "3a96dd", "cccccc",
        "767676", "e74856", "16c60c", "f9f1a5", "3b78ff", "b4009e", "61d6d6", "f2f2f2",
    ),
}  # fmt: skip
DARK, LIGHT = ("e5e5e5", "000000"), ("000000", "ffffff")
GROUNDS = {"dark": (DARK,), "light": (LIGHT,), "unknown": (DARK, LIGHT, ("ffffff", "000000"))}


def luminance(colour: str) -> float:
    """Relative luminance (WCAG 2.2)."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (0, 2, 4)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


@pytest.mark.parametrize("palette", list(PALETTES))
@pytest.mark.parametrize("number", [0, 16, 256, TRUECOLOUR])
@pytest.mark.parametrize("background", list(GROUNDS))
@pytest.mark.parametrize("term", ["xterm", "linux"])
def test_every_style_reads(term, background, number, palette):
    terminal = Terminal(term, number, ascii=False, background=background)
    for (name, style), (text, ground) in itertools.product(
        looks(terminal).items(), GROUNDS[background]
    ):
        kind = Kind("", terminal, text, ground)
        ink, paper = colours(style, kind, PALETTES[palette])
        if term == "linux":
            assert not style.dim
        assert contrast(ink, paper) >= ENOUGH, (name, ink, paper, contrast(ink, paper))
    # What the measure would refuse: grey on the same ground (4.48 to 1 by WCAG's own figures).
    assert contrast("777777", "ffffff") < ENOUGH < contrast("000000", "ffffff")


@pytest.mark.parametrize("background", list(GROUNDS))
def test_256_colours_and_truecolour_show_the_same_and_no_shade_of_the_terminals_own(background):
    many, most = (
        looks(Terminal("xterm", number, ascii=False, background=background))
        for number in (256, TRUECOLOUR)
    )
    assert many == most
    colours_used = [c for s in many.values() for c in (s.color, s.bgcolor) if c is not None]
    assert colours_used
    assert all(16 <= c.number <= 255 for c in colours_used)


def test_without_colours_no_style_has_one_and_the_weighty_ones_still_differ():
    styles = looks(Terminal("vt100", 0, ascii=True))
    assert all(s.color is None and s.bgcolor is None for s in styles.values())
    assert len({str(styles[name]) for name in ("", "cursor", "alarm", "warn", "strong")}) == 5


@pytest.mark.parametrize("number", [0, 16, 256, TRUECOLOUR])
@pytest.mark.parametrize("background", list(GROUNDS))
def test_high_contrast_is_the_terminals_own_text_and_the_weighty_ones_still_differ(
    number, background
):
    styles = looks(
        Terminal("xterm", number, ascii=False, background=background, high_contrast=True)
    )
    for style in styles.values():
        assert (style.color, style.bgcolor, bool(style.dim)) == (None, None, False)
    assert len({str(styles[name]) for name in ("", "cursor", "alarm", "warn", "strong")}) == 5


def test_the_alarm_is_one_and_the_same_on_any_background():
    for number in (16, 256):
        alarms = {
            str(looks(Terminal("xterm", number, False, background=b))["alarm"]) for b in GROUNDS
        }
        assert len(alarms) == 1


def test_ascii_is_ascii_and_the_other_set_is_one_cell_each():
    from rich.cells import cell_len

    assert glyphs(Terminal("vt100", 0, ascii=True)) is ASCII
    assert glyphs(Terminal("xterm", 16, ascii=False)) is DRAWN
    assert all(getattr(ASCII, n).isascii() for n in ASCII.__slots__)
    assert all(cell_len(getattr(DRAWN, n)) == 1 for n in DRAWN.__slots__)
