"""The keys of an admission, whatever key the table gives it."""

from wardexam.terminal.keys import WARD
from wardexam.terminal.screens.patient_details import QUESTIONS


def _key(action: str) -> str:
    return next(row.keys[0] for row in WARD if row.action == action)


ADMIT, EDIT = _key("admit"), _key("edit")
ANSWERS = len(QUESTIONS)


def answered(*answers: str) -> tuple[str, ...]:
    """These answers, and nothing to the questions behind them."""
    return (*answers, *("",) * (ANSWERS - len(answers)))


def admission(*answers: str) -> str:
    """As they are sent to a terminal."""
    return ADMIT + "".join(f"{answer}\r" for answer in answered(*answers))


def presses(*answers: str) -> list[str]:
    """As a screen in process takes them."""
    return [ADMIT, *(key for answer in answered(*answers) for key in (*answer, "enter"))]
