"""Which rules fire: on what was found, on what of it counts as new, and on one more "yes".

What is known, by a mark or by what is told, is a view of what was found; a rule looks at one of three.
"""

from collections.abc import Collection
from functools import cache

from wardexam.exam.examination import Findings
from wardexam.reasoning.rules.conditions import Held, held, holding
from wardexam.reasoning.rules.rule_table import LOWERED, Rule, rules
from wardexam.reasoning.tables import conditions_row

WORSE = "worse"  # the flag by which what is known counts as new
UNCHANGED = "told to be of long standing and unchanged"


def holds(examination: Findings, now: Held | None = None) -> set[str]:
    """The flags said yes and the named conditions that hold; `now` where those are known."""
    yes = {f"flag:{name}" for name, answer in examination.flags.items() if answer == "yes"}
    return yes | {f"sign:{name}" for name in (now or held(examination)).names}


def fires(row: Rule, what: set[str] | frozenset[str]) -> bool:
    """Whether a rule fires where these flags, conditions and changes hold, such as ``flag:fever``."""
    return not what.isdisjoint(row.some) and what.issuperset(row.every)


def fired(found: Findings, changes: Collection[str] = ()) -> frozenset[str]:
    """The ids of the rules that fire; what is marked as known fires those that its row lets it.

    Args:
        found: What was found; once it is said to be worse, what is known counts as new.
        changes: What a comparison shows, such as ``change:worse``.
    """
    return Firing(found, changes).now


class Firing:
    """The rules that fire for some findings, and what one more "yes" would fire beside them.

    Args:
        found: What was found; once it is said to be worse, what is known counts as new.
        changes: What a comparison shows, such as ``change:worse``.

    Attributes:
        now: The ids of the rules that fire.
    """

    def __init__(self, found: Findings, changes: Collection[str] = ()) -> None:
        self._found, self._changes = found, changes
        each = views(found, changes)
        apart = {id(view): view for view in each}  # mostly one and the same
        self._views = [(view, held(view), holds(view).union(changes)) for view in apart.values()]
        self._seen_as = [list(apart).index(id(view)) for view in each]
        self.now = frozenset(
            name
            for at, rows in zip(self._seen_as, _by_view(), strict=True)
            for name, row in rows
            if fires(row, self._views[at][2])
        )

    def _sees(self, row: Rule) -> int:
        return self._seen_as[_view_of(row)]

    def by_yes(self, flag: str) -> frozenset[str]:
        """The rules that fire once a flag that is not answered "yes" is."""
        flags = {**self._found.flags, flag: "yes"}
        told = self._found.model_copy(update={"flags": flags})
        if flag == WORSE or unchanged(told) != unchanged(self._found):
            return fired(told, self._changes)
        added, would = set[str](), []
        for view, now, before in self._views:
            names = now.answered(flag, view.model_copy(update={"flags": flags}))
            more = {f"flag:{flag}", *(f"sign:{name}" for name in names - now.names)}
            added |= more
            would.append(before | more)
        return self.now.union(
            name
            for item in added
            for name in _speaking().get(item, ())
            if fires(rules()[name], would[self._sees(rules()[name])])
        )


@cache
def _speaking() -> dict[str, list[str]]:
    """The rules that speak of each flag, condition and change."""
    found: dict[str, list[str]] = {}
    for name, row in rules().items():
        for item in dict.fromkeys((*row.some, *row.every)):
            found.setdefault(item, []).append(name)
    return found


@cache
def _by_view() -> tuple[list[tuple[str, Rule]], ...]:
    """The rules with their names, by the view that each looks at."""
    views = (WHOLE, MARKED, FRESH)
    return tuple([(n, row) for n, row in rules().items() if _view_of(row) == v] for v in views)


def undated(found: Findings, changes: Collection[str] = ()) -> dict[str, bool]:
    """The rules that fire, each with whether it hangs on an onset that is not known."""
    now = fired(found, changes)
    if found.context.onset != "unknown":
        return {name: False for name in rules() if name in now}
    told = found.context.model_copy(update={"onset": conditions_row("inferred_site")["told"]})
    later = fired(found.model_copy(update={"context": told}), changes)
    return {name: name not in later for name in rules() if name in now}


def unchanged(found: Findings) -> bool:
    """Whether it was told that all of it is of long standing and, when asked, that nothing is worse.

    What is seldom old is not believed to be, unless it is marked itself: then nothing of it is.
    """
    row, said = conditions_row("unchanged"), found.flags.get
    return (
        found.context.onset in row["onset"]
        and all(said(flag) == "no" for flag in row["no"])
        and all(said(flag) != "yes" for flag in row["not_yes"])
        and row["unless"] not in holding(found.new)
    )


WHOLE, MARKED, FRESH = 0, 1, 2  # views of what was found


def views(found: Findings, changes: Collection[str]) -> tuple[Findings, Findings, Findings]:
    """What was found; without what is marked as known; without all of it where it is told to be unchanged, and did not change.

    Once it is said to be worse, all of it counts.
    """
    if found.flags.get(WORSE) == "yes":
        return found, found, found
    marked = found.new if any(f.known for f in found.findings) else found
    bare = unchanged(found) and not changes
    return found, marked, found.model_copy(update={"findings": ()}) if bare else marked


def _view_of(row: Rule) -> int:
    """Which of the views a rule looks at: what is told to be unchanged still fires those of the lowest level."""
    return WHOLE if row.known == "stands" else MARKED if row.urgency <= LOWERED else FRESH


def only_known(examination: Findings, changes: Collection[str]) -> dict[str, str]:
    """Rules above the lowest level that only what is known would fire, with what was written of it."""
    whole, marked, fresh = views(examination, changes)
    if fresh is whole:
        return {}
    would, do, unmarked = holds(whole), holds(fresh), holds(marked)
    written = ", ".join(dict.fromkeys(f.known for f in examination.findings if f.known))
    return {
        name: f"taken as known: {UNCHANGED if fires(row, unmarked) else written}"
        for name, row in rules().items()
        if _view_of(row) == FRESH and fires(row, would) and not fires(row, do)
    }
