"""The MRC sum score: six movements on two sides, 4- and 4+ counted as 4 (`change.toml`)."""

from wardexam.exam.examination import Findings
from wardexam.reasoning.rules.graver import full_power
from wardexam.reasoning.tables import change_row


def sum_score(examination: Findings) -> int | None:
    """The MRC sum score, 0 to `full_score`, where its movements are all graded, else None."""
    scored = [f for f in examination.findings if f.row.sum_score and f.answer is not None]
    if len(scored) != _movements():
        return None
    return sum(_points(f.answer) for f in scored if f.answer)


def full_score() -> int:
    """The MRC sum score of full power."""
    return _movements() * _points(full_power())


def _movements() -> int:
    count: int = change_row("sum_score")["movements"]
    return count


def _points(grade: str) -> int:
    """What an MRC grade counts: ``4+`` as ``4``."""
    return int(grade[0])
