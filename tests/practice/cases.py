"""Cases made by hand for the tests of practice."""

from dataclasses import dataclass, field

from wardexam.exam.examination import Context, Findings
from wardexam.exam.typed import read_line
from wardexam.practice.case import Truth
from wardexam.practice.path import Path, Step


@dataclass
class Made:
    """A case from a typed line."""

    line: str
    truth: Truth
    id: str = "1-1"
    kind: str = "drawn"
    level: int = 1
    told: str = "Told."
    answers: dict = field(default_factory=dict)

    @property
    def whole(self) -> Findings:
        return read_line(self.line).spelled_out()

    @property
    def context(self) -> Context:
        return self.whole.context

    @property
    def tests(self):
        return [(f.row, f.side) for f in self.whole.findings]

    def shown(self, sign, side):
        return self.whole.finding(sign.id, side)

    def answered(self, flag):
        return self.answers.get(flag)


def truth(place="root", side="left", level="S1"):
    return Truth((place,), side, level, f"{side} {level} {place}", "Half of it.")


def path(*steps, before=0.1):
    """A way of ``(chance, rank, seconds)``."""
    return Path(tuple(Step(f"test {n}", s, c, r) for n, (c, r, s) in enumerate(steps, 1)), before)
