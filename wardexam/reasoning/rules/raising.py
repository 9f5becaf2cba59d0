"""Which sign, were it found so, would raise the urgency: asked before it is examined, for the order of signs.

Only the rules are asked, never the tool's own alarm; and only of answers out of the usual, since none that is usual
raises anything.
"""

from collections.abc import Callable, Iterable
from functools import cache, lru_cache

from wardexam.exam.examination import Findings
from wardexam.exam.findings import Finding
from wardexam.reasoning.rules.conditions import KEPT_HELD, Held, held
from wardexam.reasoning.rules.one_more import NOTHING, OneMore, with_those_spoken_of
from wardexam.reasoning.rules.urgency import WORDS, Rule, fires, holds, rules

_HIGHEST = len(WORDS) - 1


Rises = Callable[[Iterable[Finding]], list[int]]


def rising(found: Findings) -> Rises | None:
    """What gives by how many levels the urgency would rise with each of some findings; None where it cannot rise.

    Each of those findings is one out of the usual of a sign that was not examined.
    """
    return _rising(held(found), frozenset(holds(found)))


@lru_cache(maxsize=KEPT_HELD)
def _rising(now: Held, said: frozenset[str]) -> Rises | None:
    level = _highest(rules().values(), said)
    if level == _HIGHEST:
        return None
    one_more = OneMore(now, _spoken_of_above(level))
    could = said.union(f"sign:{name}" for name in one_more.near)
    may_fire = tuple(row for row in _above(level) if fires(row, could))
    among = one_more.near & _spoken_of(may_fire)
    known = {NOTHING: 0}

    def rise(finding: Finding) -> int:
        further = one_more.further(finding, among)
        if further not in known:
            would = _highest(may_fire, said.union(f"sign:{name}" for name in further))
            known[further] = max(0, would - level)
        return known[further]

    return lambda possible: [rise(one) for one in possible]


def _highest(those: Iterable[Rule], what: frozenset[str]) -> int:
    """The level of the rules among some that fire where these flags and conditions hold."""
    return max((row.urgency for row in those if fires(row, what)), default=0)


def _spoken_of(those: Iterable[Rule]) -> frozenset[str]:
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
