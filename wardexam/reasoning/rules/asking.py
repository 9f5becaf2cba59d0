"""In which order the flags are asked: first those by which what is entered would become an emergency, or a graver one.

A flag matters now where a "yes" would fire a rule that needs what is entered as well; where it stands beside
something entered, as another way to the same condition or in the same rule; or where a "yes" alone would raise
the level. Nothing is left out: the rest comes after.
"""

from collections import Counter
from collections.abc import Collection, Iterable, Set
from functools import cache

from wardexam.errors import TableError
from wardexam.exam.examination import Context, Findings
from wardexam.exam.flags import flag_names, flags
from wardexam.reasoning.rules.conditions import PLACE, conditions
from wardexam.reasoning.rules.deadlines import limits
from wardexam.reasoning.rules.firing import Firing, fired, holds
from wardexam.reasoning.rules.rule_table import rules
from wardexam.reasoning.tables import conditions_row

FLAG, SIGN, RULE = "flag:", "sign:", "rule:"
Fired = frozenset[str]  # rules


def _said(found: Findings, name: str, answer: str | None) -> Findings:
    """The same with one flag answered, or not asked."""
    flags = {n: a for n, a in found.flags.items() if n != name}
    return found.model_copy(update={"flags": flags if answer is None else {**flags, name: answer}})


@cache
def _blank(age: int | None, onset: str) -> Findings:
    """An examination in which nothing is known but whose and since when."""
    return Findings(context=Context.model_validate({"age": age, "onset": onset}))


@cache
def _alone(name: str, age: int | None, onset: str) -> Fired:
    """The rules that a "yes" fires with nothing else known."""
    return fired(_said(_blank(age, onset), name, "yes"))


@cache
def _flags_of(item: str) -> frozenset[str]:
    """The flags that an item of a rule may hold by."""
    if item.startswith(FLAG):
        return frozenset({item.removeprefix(FLAG)})
    row = conditions().get(item.removeprefix(SIGN)) if item.startswith(SIGN) else None
    if row is None:
        return frozenset()
    found = {test.flag for test in (*row.every, *row.some) if test.flag}
    for test in (*row.every, *row.some):
        if test.condition:
            found |= _flags_of(f"{SIGN}{test.condition}")
    return frozenset(found)


def _beside(held: Set[str]) -> Counter[str]:
    """The flags that stand beside conditions that hold by what was entered, each with in how many rules and conditions it does."""
    beside: Counter[str] = Counter()
    for item in held:
        beside.update(_flags_of(item))
    for row in rules().values():
        if not held.isdisjoint(row.some):
            beside.update(frozenset().union(*map(_flags_of, row.some)))
    return beside


def _gravest(names: Iterable[str]) -> tuple[int, int]:
    """How urgent the gravest and soonest of some rules is, for an order: the gravest first."""
    spans = list(limits())
    return min(((-rules()[n].urgency, spans.index(rules()[n].by)) for n in names), default=(0, 0))


@cache
def _asked_first() -> dict[str, tuple[str, ...]]:
    """The flags that are asked before all others, by the condition or rule that asks for them.

    Raises:
        TableError: A row names a condition, a rule or a flag that there is not.
    """
    rows = {n: tuple(asks) for n, asks in conditions_row("asked_first").items() if n != "source"}
    known = {*(f"{SIGN}{name}" for name in conditions()), *(f"{RULE}{name}" for name in rules())}
    for name, asks in rows.items():
        if name not in known or not {*asks} <= {*flag_names()}:
            raise TableError("no such name, or flag", where=f"{PLACE}, asked_first, {name}")
    return rows


def _before_all(held: Collection[str], fired: Fired) -> list[str]:
    """The flags that are asked before all others where these conditions hold and these rules fire, in order."""
    named = {*held, *(f"{RULE}{name}" for name in fired)}
    return [flag for name, asks in _asked_first().items() if name in named for flag in asks]


def order(found: Findings, answered: Collection[str]) -> tuple[str, ...]:
    """The ids of all flags, in the order in which they are best asked of what is entered.

    First those that the table `asked_first` names for what is entered. Then those that matter now: by the level that a
    "yes" would bring, then by how much of what is entered it belongs to; then those that alone would raise the level, the
    soonest limit first; then the rest, and what the story tells already; what is answered comes last. Those that are
    alike stand as the table has them.

    Args:
        found: What stands and was found.
        answered: The flags that were answered now; one answered earlier in the stay is asked again.
    """
    story = found.context
    blank = _blank(story.age, story.onset)
    firing = Firing(found)
    now = firing.now
    level = max((rules()[n].urgency for n in now), default=0)
    held = holds(found) - holds(blank)
    beside = _beside(held)
    place = {name: number for number, name in enumerate(flag_names())}

    def key(name: str) -> tuple[bool, bool, bool, int, int, int]:
        """What is answered last, what matters now first, then what alone raises the level."""
        if name in answered:
            return True, True, True, 0, 0, place[name]
        if story.tells(flags()[name]):
            return False, True, True, 1, 0, place[name]
        said = found.flags.get(name) == "yes"
        without = fired(_said(found, name, None)) if said else now
        alone = _alone(name, story.age, story.onset)
        brings = now if said else firing.by_yes(name)
        needs_more = brings - without - alone
        if needs_more or name in beside:
            links = len(needs_more) + beside[name]
            return False, False, False, _gravest(needs_more | alone)[0], -links, place[name]
        urgency, limit = _gravest(brings - without)
        if -urgency > level:
            return False, True, False, urgency, limit, place[name]
        return False, True, True, 0, 0, place[name]

    first = dict.fromkeys(
        name
        for name in _before_all(held, now)
        if name not in answered and not story.tells(flags()[name])
    )
    return (*first, *(name for name in sorted(flag_names(), key=key) if name not in first))
