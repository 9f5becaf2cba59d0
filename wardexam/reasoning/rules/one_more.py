"""Which further conditions hold with one more finding: asked of hundreds of findings that may come next."""

from collections.abc import Collection, Hashable, Iterable
from dataclasses import replace
from functools import lru_cache

from wardexam.exam.findings import Finding
from wardexam.reasoning.rules.conditions import (
    NO_PLACES,
    Held,
    Names,
    Places,
    Row,
    Tried,
    table,
)
from wardexam.reasoning.rules.confined import above, lost, suppliers
from wardexam.reasoning.tables import conditions_row

NOTHING = frozenset[str]()  # the same wherever nothing more holds: there are thousands
_KEPT = 2000  # kinds of findings by what they may bring about, 0.2 kB each


class OneMore:
    """What comes of one more finding.

    Args:
        now: What holds.
        asked: The conditions that are asked about, with all that they speak of.

    Attributes:
        near: Those of them that do not hold and may with one more finding, whichever it is.
    """

    def __init__(self, now: Held, asked: frozenset[str]) -> None:
        self._now = now
        self._missing = self._misses(asked)
        self.near = frozenset(self._missing)
        self._rows: dict[Hashable, tuple[list[Row], Places, Names]] = {}
        self._alike: dict[Hashable, frozenset[str]] = {}

    def further(self, finding: Finding, among: frozenset[str]) -> frozenset[str]:
        """The further conditions that hold with it.

        Args:
            finding: One out of the usual, of a sign that was not examined.
            among: Those of `near` that are asked about, with those that they speak of.
        """
        met = table().met_by(finding)
        by_limb = lost(finding) or above(finding)
        what = among, met, by_limb
        if what not in self._rows:
            self._rows[what] = self._hanging(met, by_limb, among)
        rows, asked, names = self._rows[what]
        if not rows:
            return NOTHING
        of = suppliers()[finding.sign] if self._may_be_alone(finding) else None
        alike = names, asked, finding.row.limb, finding.side, by_limb, of
        if alike not in self._alike:
            self._alike[alike] = self._tried(finding, asked, rows)
        return self._alike[alike]

    def _hanging(
        self, met: Places, by_limb: bool, among: frozenset[str]
    ) -> tuple[list[Row], Places, Names]:
        """The conditions that may hold, the tests of them that the finding meets, and their names."""
        rows = [r for r in _hanging(met, by_limb) if r[0] in among and self._within(r[0], met)]
        tests = {t.place for _, every, some in rows for t in (*every, *some)}
        return rows, met & tests or NO_PLACES, tuple(name for name, *_ in rows)

    def _may_be_alone(self, finding: Finding) -> bool:
        """Whether it matters which nerves and roots give a finding, with the losses there are."""
        numb = finding.row.answers in conditions_row("confined")["kind"]
        return lost(finding) and (
            not self._now.seen.unconfined or (numb and not self._now.seen.numb_beyond)
        )

    def _misses(self, asked: frozenset[str]) -> dict[str, tuple[Places, Places | None]]:
        """By condition that may hold, the tests that the finding must meet, and those of which it must meet one."""
        near = dict[str, tuple[Places, Places | None]]()
        for name, every, some in table().order:
            if name not in asked or name in self._now.names:
                continue
            if not all(self._may_pass(t, near) for t in every):
                continue
            missing = frozenset(t.place for t in every if self._is_missing(t))
            if not some or any(self._now.seen.passes(t, self._now.names) for t in some):
                near[name] = missing, None
            elif may := [t for t in some if self._may_pass(t, near)]:
                sure = all(map(self._is_missing, may))
                near[name] = missing, frozenset(t.place for t in may) if sure else None
        return near

    def _within(self, name: str, met: Places) -> bool:
        """Whether a finding that meets these tests meets those that the condition misses."""
        every, some = self._missing[name]
        return every <= met and (some is None or not some.isdisjoint(met))

    def _may_pass(self, tried: Tried, near: Collection[str]) -> bool:
        asks, met = tried.test.condition, self._now.seen.met.get(tried.place, ())
        return (
            (not asks or asks in self._now.names or asks in near)
            and self._now.seen.says(tried)
            and (not tried.of_findings or len(met) + 1 >= tried.test.count)
        )

    def _is_missing(self, tried: Tried) -> bool:
        """Whether a test that may pass does only if the finding meets it."""
        test = tried.test
        return (
            tried.of_findings
            and not (test.unconfined or test.numb_beyond)
            and (not test.condition or test.condition in self._now.names)
            and not self._now.seen.passes(tried, self._now.names)
        )

    def _tried(self, finding: Finding, met: Places, rows: Iterable[Row]) -> frozenset[str]:
        more = {p: [*self._now.seen.met.get(p, ()), finding] for p in met}
        findings = (*self._now.seen.findings, finding)
        seen = replace(self._now.seen, findings=findings, met={**self._now.seen.met, **more})
        return frozenset(seen.hold(rows, self._now.names) - self._now.names) or NOTHING


@lru_cache(maxsize=_KEPT)
def _hanging(places: Places, by_limb: bool) -> tuple[Row, ...]:
    """The conditions that one more finding may bring about.

    Args:
        places: The tests that it meets.
        by_limb: Whether it may show that a loss is not of one nerve or root.
    """
    found: dict[str, Row] = {}
    for row in table().order:
        if any(
            t.place in places
            or t.test.condition in found
            or (by_limb and (t.test.unconfined or t.test.numb_beyond))
            for t in (*row[1], *row[2])
        ):
            found[row[0]] = row
    return tuple(found.values())


def with_those_spoken_of(names: frozenset[str]) -> frozenset[str]:
    """Some conditions with all that they speak of, and so on."""
    found = set(names)
    for name, every, some in reversed(table().order):
        if name in found:
            found |= {t.test.condition for t in (*every, *some) if t.test.condition}
    return frozenset(found)
