"""Which sign, were it found so, would raise the urgency: asked before it is examined, for the order of signs.

Only the rules are asked, never the tool's own alarm; and only of answers out of the usual, since none that is usual
raises anything.
"""

from collections.abc import Iterable
from functools import cache, lru_cache

from wardexam.exam.examination import Findings
from wardexam.exam.findings import Finding
from wardexam.reasoning.rules.conditions import Held, held
from wardexam.reasoning.rules.firing import fires, holds
from wardexam.reasoning.rules.one_more import NOTHING, OneMore, with_those_spoken_of
from wardexam.reasoning.rules.rule_table import WORDS, Rule, rules

_HIGHEST = len(WORDS) - 1
_KEPT = 3  # some 60 kB each: what is entered, what the next key may make of it, what was before


class Rising:
    """By how many levels the urgency would rise with one more finding.

    Args:
        now: Which conditions hold.
        said: The flags said yes and the conditions that hold.
        level: How urgent that is.

    Attributes:
        most: By how many levels it can rise at most.
    """

    def __init__(self, now: Held, said: frozenset[str], level: int) -> None:
        self._said, self._level = said, level
        self._one_more = OneMore(now, _spoken_of_above(level))
        could = said.union(f"sign:{name}" for name in self._one_more.near)
        self._may_fire = tuple(row for row in _above(level) if fires(row, could))
        self._among = self._one_more.near & _spoken_of(self._may_fire)
        self._known = {NOTHING: 0}
        self.most = max((row.urgency - level for row in self._may_fire), default=0)

    def __call__(self, possible: Iterable[Finding]) -> list[int]:
        """By how many it would with each of some findings, out of the usual and of signs that were not examined."""
        return [self._rise(finding) for finding in possible]

    def _rise(self, finding: Finding) -> int:
        further = self._one_more.further(finding, self._among)
        if further not in self._known:
            would = _highest(self._may_fire, self._said.union(f"sign:{name}" for name in further))
            self._known[further] = max(0, would - self._level)
        return self._known[further]


def rising(found: Findings) -> Rising | None:
    """What gives by how many levels the urgency would rise with a finding; None where it cannot rise."""
    now = held(found)
    return _rising(now, frozenset(holds(found, now)))


@lru_cache(maxsize=_KEPT)
def _rising(now: Held, said: frozenset[str]) -> Rising | None:
    level = _highest(_by_level(), said)
    return None if level == _HIGHEST else Rising(now, said, level)


def _highest(those: Iterable[Rule], what: frozenset[str]) -> int:
    """The level of the first rule among some, most urgent first, that fires where these flags and conditions hold."""
    return next((row.urgency for row in those if fires(row, what)), 0)


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
    """The rules above a level, most urgent first."""
    return tuple(row for row in _by_level() if row.urgency > level)


@cache
def _by_level() -> tuple[Rule, ...]:
    """The rules, most urgent first."""
    return tuple(sorted(rules().values(), key=lambda row: -row.urgency))
