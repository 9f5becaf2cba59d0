"""Which sign, were it found so, would raise the urgency: asked before it is examined, for the order of signs.

Only the rules are asked, never the tool's own alarm; and only of answers out of the usual, since none that is usual
raises anything.
"""

from collections.abc import Callable, Iterable
from functools import lru_cache

from wardexam.exam.examination import Context, Findings, YesNo
from wardexam.exam.findings import Finding
from wardexam.reasoning.rules.conditions import Held
from wardexam.reasoning.rules.urgency import WORDS, level_with

_KEPT = 20  # sets of what was found for which it is known what holds
_HIGHEST = len(WORDS) - 1


Rises = Callable[[Iterable[Finding]], list[int]]


def rising(found: Findings) -> Rises | None:
    """What gives by how many levels the urgency would rise with each of some findings; None where it cannot rise.

    Each of those findings is one out of the usual of a sign that was not examined.
    """
    held = _held(_counts(found), found.context, tuple(sorted(found.flags.items())))
    yes = [name for name, answer in found.flags.items() if answer == "yes"]
    level = level_with(held.names, yes)
    if level == _HIGHEST:
        return None

    def rises(possible: Iterable[Finding]) -> list[int]:
        known: dict[frozenset[str], int] = {held.names: 0}
        made = []
        for one in possible:
            names = held.with_one(one)
            if names not in known:
                known[names] = max(0, level_with(names, yes) - level)
            made.append(known[names])
        return made

    return rises


def _counts(found: Findings) -> tuple[Finding, ...]:
    """What a rule may hang on: what is odd, and movements, which may show that a weakness is of one nerve."""
    return tuple(
        f
        for f in found.findings
        if f.answer is not None and (f.row.answers == "mrc" or not (f.choice and f.choice.usual))
    )


@lru_cache(maxsize=_KEPT)
def _held(
    counts: tuple[Finding, ...], story: Context, flags: tuple[tuple[str, YesNo], ...]
) -> Held:
    """What holds of what counts; what comes of one more finding is kept with it."""
    return Held(Findings(context=story, findings=counts, flags=dict(flags)))
