"""The page of a chart: plain lines of at most 72 columns."""

import textwrap

from wardexam.exam.text import released

WIDTH = 72


def wrapped(text: str, indent: str = "") -> list[str]:
    """A paragraph broken at 72 columns; empty text gives no line."""
    lines = textwrap.wrap(
        text, WIDTH, initial_indent=indent, subsequent_indent=indent + "  ", break_long_words=True
    )
    return [released(line) for line in lines]
