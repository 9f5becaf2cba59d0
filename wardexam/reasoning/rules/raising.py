"""Which sign, were it found so, would raise the urgency: asked before it is examined, for the order of signs.

Only the rules are asked, never the tool's own alarm; and only of answers out of the usual, since none that is usual
raises anything.
"""

from collections.abc import Callable, Iterable
from functools import cache

from wardexam.exam.examination import Findings
from wardexam.exam.findings import Finding
from wardexam.reasoning.rules.conditions import NOTHING, held, with_those_spoken_of
from wardexam.reasoning.rules.urgency import WORDS, Rule, fires, rules

_HIGHEST = len(WORDS) - 1


Rises = Callable[[Iterable[Finding]], list[int]]


def rising(found: Findings) -> Rises | None:
    """What gives by how many levels the urgency would rise with each of some findings; None where it cannot rise.

    Each of those findings is one out of the usual of a sign that was not examined.
    """
    holds_now = held(found)
    said = {f"flag:{name}" for name, answer in found.flags.items() if answer == "yes"}
    said |= {f"sign:{name}" for name in holds_now.names}
    level = max((row.urgency for row in rules().values() if fires(row, said)), default=0)
    if level == _HIGHEST:
        return None

    near = holds_now.near(_spoken_of_above(level))
    could = said.union(f"sign:{name}" for name in near)
    may_fire = tuple(row for row in _above(level) if fires(row, could))
    among = near & _spoken_of(may_fire)

    def risen(further: frozenset[str]) -> int:
        holds = said.union(f"sign:{name}" for name in further)
        return max((row.urgency for row in may_fire if fires(row, holds)), default=level) - level

    def rises(possible: Iterable[Finding]) -> list[int]:
        known = {NOTHING: 0}
        made = []
        for one in possible:
            further = holds_now.with_one(one, among)
            if further not in known:
                known[further] = risen(further)
            made.append(known[further])
        return made

    return rises


def _spoken_of(those: tuple[Rule, ...]) -> frozenset[str]:
    """The conditions on which some rules hang."""
    return with_those_spoken_of(
        frozenset(item.partition(":")[2] for row in those for item in (*row.some, *row.every))
    )


@cache
def _spoken_of_above(level: int) -> frozenset[str]:
    return _spoken_of(_above(level))


@cache
def _above(level: int) -> tuple[Rule, ...]:
    """The rules above a level."""
    return tuple(row for row in rules().values() if row.urgency > level)
