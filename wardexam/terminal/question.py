"""A question below a screen: its words, what may be answered, the line that is typed, what is wrong with it."""

import textwrap
from collections.abc import Callable, Sequence

from wardexam.terminal.canvas import Line
from wardexam.terminal.line_editor import LONGEST, LineEditor

ROOM = 10  # columns for an answer behind its question; where fewer are left it has its own line
FULL = f"{LONGEST} letters at most: what is more was left out."
YES = ("enter", "y", "Y")  # the keys that are a yes where one key answers
Then = Callable[[str], str | None]  # gets what was typed; gives what is wrong with it, if anything


class Question:
    """A question that is being answered.

    Args:
        asked: The question.
        then: Gets the answer; where it gives what is wrong, that is shown and what was typed stays.
        text: What stands in the answer's place at first.
        choices: What may be answered, shown above the question.
        one_key: Whether one key answers it and nothing is typed.
        yes: The keys that are a yes to it then.

    Attributes:
        line: What is typed.
        wrong: What is wrong with it, in words.
    """

    def __init__(
        self,
        asked: str,
        then: Then,
        text: str = "",
        choices: Sequence[str] = (),
        *,
        one_key: bool = False,
        yes: tuple[str, ...] = YES,
    ) -> None:
        self.asked, self.then, self.choices, self.one_key = asked, then, choices, one_key
        self.yes = yes
        self.line, self.wrong = LineEditor(text), ""

    def lines(self, width: int) -> tuple[list[Line], int]:
        """The lines of a screen so wide, the answer in the last, and the column of the cursor there."""
        wrong = FULL if self.line.full else self.wrong
        above = [
            [(f"! {text}" if not n else f"  {text}", "warn")]
            for n, text in enumerate(textwrap.wrap(wrong, width - 3))
        ]
        above += [[(text, "quiet")] for text in joined(self.choices, width - 1)]
        asked = textwrap.wrap(self.asked, width - 1) or [""]
        above += [[(text, "strong")] for text in asked[:-1]]
        if self.one_key:
            return [*above, [(asked[-1], "strong")]], len(asked[-1])
        begin, room = f"{asked[-1]} ", width - len(asked[-1]) - 2
        if room < ROOM:
            above.append([(asked[-1], "strong")])
            begin, room = "  ", width - 3
        typed, at = self.line.pieces(room)
        return [*above, [(begin, "strong"), *typed]], len(begin) + at


def joined(choices: Sequence[str], width: int) -> list[str]:
    """The choices on as few lines as they need, none broken in two."""
    lines: list[str] = []
    for choice in choices:
        if lines and len(lines[-1]) + len(choice) + 2 <= width:
            lines[-1] += f"  {choice}"
        else:
            lines += textwrap.wrap(choice, width)
    return lines
