"""How urgent it is: rules from published guidance on symptoms and signs.

Rules are rows of `urgency.toml`, the conditions that they name rows of `conditions.toml`. The level is the
highest of the rules that fire, and no condition has a "not": one more abnormal finding, "yes" or graver
grade never lowers it. What was not examined or not asked never fires and never calms; an unknown onset
counts as an acute one. The inferred sites raise urgency, to today at most, and never lower it. Silence and
"rest normal" are not looked at, nor do they end what fired earlier in the stay.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import Annotated, Literal

from pydantic import Field

from wardexam.anatomy.structures import TableRow, checked_row
from wardexam.errors import TableError
from wardexam.exam.examination import Findings
from wardexam.exam.flags import every_flag, flag_names, flags
from wardexam.reasoning.reading import Reading
from wardexam.reasoning.rules.change import PATTERNS, Comparison, compare
from wardexam.reasoning.rules.conditions import conditions, holding
from wardexam.reasoning.rules.standing import unrelieved
from wardexam.reasoning.tables import conditions_row, read

# Own plain words, least to most.
_TIMES = {"minutes": "within minutes", "today": "today", "within days": "within days"}


def in_time(by: str) -> str:
    """A limit in words, such as ``within 4 h``."""
    return _TIMES.get(by, f"within {by}")


WORDS = ("no rule fires", "within days", "today", "now")
NOT_ASSESSED = "not assessed"
UNTIL_KNOWN = "until the onset is known"
# Beside a rule that fired earlier in the stay, its signs not examined and its flags not asked again.
EARLIER = " (earlier)"
POLICY = "Follow local policy."
NOT_EXCLUDED = "Flags not asked; signs alone do not exclude an emergency."


@dataclass(frozen=True, slots=True)
class Reason:
    """One rule that fired.

    Attributes:
        rule: Its id.
        urgency: 1 within days, 2 today, 3 now.
        text: Why.
        image: What is usually imaged.
        call: Who is usually called.
        source: Where the rule is from.
        first: What is done before anything else; empty where nothing is.
        by: By when, in words.
        region: The region of the image, as the table names it.
        modality: How it is imaged, as the table names it.
        lowers: What brings it down once a doctor has written it; empty where nothing does.
        lowered: What a doctor wrote that brought it down, with name and time; empty where nothing did.
    """

    rule: str
    urgency: int
    text: str
    image: str
    call: str
    source: str
    first: str = ""
    by: str = ""
    region: str = ""
    modality: str = ""
    lowers: str = ""
    lowered: str = ""

    @property
    def when(self) -> str:
        """Its urgency and its limit, such as ``now, within 4 h``."""
        word, limit = WORDS[self.urgency], in_time(self.by)
        return word if word == limit or self.lowered else f"{word}, {limit}"

    @property
    def steps(self) -> str:
        """What to do: first, image, whom to call."""
        image = "" if self.image == "none first" else self.image
        return "; ".join(filter(None, (self.first, image, self.call)))

    @property
    def action(self) -> str:
        """What to do, in one sentence: first, image, whom to call, by when."""
        steps = [
            self.first,
            self.image if self.image != "none first" else "no image first",
            f"call {self.call}",
        ]
        written = f"; brought down: {self.lowered}" if self.lowered else ""
        return f"{'; '.join(filter(None, steps))}; {in_time(self.by)}{written}"


@dataclass(frozen=True, slots=True)
class Urgency:
    """The urgency, 0 to 3, its word, the reasons (gravest and soonest first), the flags not asked and those said yes."""

    level: int
    word: str
    reasons: tuple[Reason, ...]
    not_asked: tuple[str, ...]
    answered_yes: tuple[str, ...]
    caution: str


class Rule(TableRow):
    """One row of `urgency.toml`; its head says what each column is."""

    some: tuple[str, ...] = Field(alias="any")
    every: tuple[str, ...] = Field(alias="all")
    urgency: Annotated[int, Field(ge=1, lt=len(WORDS))]
    reason: str
    first: str
    region: str
    modality: str
    image: str
    call: str
    by: str
    known: Literal["yields", "stands"]
    said_after: tuple[str, ...]
    lowers: str


# From the shortest limit on, as the table writes them.
LIMITS = ("minutes", "1 h", "4 h", "8 h", "today", "24 h", "within days")


@cache
def rules() -> dict[str, Rule]:
    """The rules by id.

    Raises:
        TableError: A row is malformed, or speaks of an unknown flag, condition, change or limit.
    """
    known = {f"flag:{f}" for f in every_flag()} | {f"sign:{c}" for c in conditions()}
    known |= {f"change:{pattern}" for pattern in ("worse", *PATTERNS)}
    made = {}
    for name, row in read("rules/urgency.toml").items():
        where = f"urgency.toml, rule {name}"
        made[name] = checked_row(Rule, row, where)
        if not made[name].some:
            raise TableError("nothing fires it", where)
        for item in (*made[name].some, *made[name].every):
            if item not in known:
                raise TableError(f"unknown condition '{item}'", where)
        if made[name].by not in LIMITS:
            raise TableError(f"unknown limit '{made[name].by}'", where)
    for name, row in made.items():
        for other in row.said_after:
            if other not in made or other == name:
                raise TableError(f"unknown rule '{other}'", f"urgency.toml, rule {name}")
    return made


def _place(rule: str, fired: set[str]) -> int:
    """How many rules that fired as well are said before this one; the inferred site comes after all."""
    if rule not in rules():
        return len(fired)
    return sum(other in fired for other in rules()[rule].said_after)


def _holds(examination: Findings) -> set[str]:
    """The flags said yes and the named conditions that hold."""
    holds = {f"flag:{name}" for name, answer in examination.flags.items() if answer == "yes"}
    return holds | {f"sign:{name}" for name in holding(examination)}


def _fired(examination: Findings, changes: set[str]) -> dict[str, bool]:
    """The rules that fire, each with whether it hangs on an onset that is not known."""
    whole = _holds(examination) | changes
    some_known = any(f.known for f in examination.findings)
    worse = examination.flags.get("worse") == "yes"
    fresh = _holds(examination.new) | changes if some_known and not worse else whole
    told = examination.context.model_copy(update={"onset": conditions_row("inferred_site")["told"]})
    dated = examination.context.onset != "unknown"
    later: dict[str, set[str]] = {}
    if not dated:
        long_ago = examination.model_copy(update={"context": told})
        later["stands"] = later["yields"] = _holds(long_ago) | changes
        if some_known:
            later["yields"] = _holds(long_ago.new) | changes
    fired = {}
    for name, row in rules().items():
        holds = whole if row.known == "stands" else fresh
        if _fires(row, holds):
            fired[name] = not dated and not _fires(row, later[row.known])
    return fired


def _only_known(examination: Findings) -> dict[str, str]:
    """Rules that only what is marked as known would fire, with what was written of it; empty if anything is worse."""
    if examination.flags.get("worse") == "yes":
        return {}
    whole, fresh = _holds(examination), _holds(examination.new)
    written = ", ".join(dict.fromkeys(f.known for f in examination.findings if f.known))
    return {
        name: f"known: {written}"
        for name, row in rules().items()
        if row.known == "yields" and _fires(row, whole) and not _fires(row, fresh)
    }


def _fires(row: Rule, holds: set[str]) -> bool:
    return not holds.isdisjoint(row.some) and holds.issuperset(row.every)


def _by_site(examination: Findings, reading: Reading | None) -> list[Reason]:
    """What the inferred sites raise: by their summed chance, so that two dangerous ones calm no more than one."""
    row = conditions_row("inferred_site")
    if reading is None or reading.entered < row["entered"] or _nothing_new(examination):
        return []
    sites = reading.dangerous
    if sum(s.probability for s in sites) < row["probability"]:
        return []
    acute = examination.context.onset in row["acute"]
    level = row["urgency_acute" if acute else "urgency"]
    text = f"signs suggest: {sites[0].name}" + (
        " or another urgent place" if len(sites) > 1 else ""
    )
    return [
        Reason(
            "inferred_site", level, text, row["image"], row["call"], row["source"], row["first"], row["by"],
            row["region"], row["modality"],
        )
    ]  # fmt: skip


def _nothing_new(examination: Findings) -> bool:
    """Whether everything out of the usual is marked as known, and nothing is said to be worse."""
    odd = [f for f in examination.findings if f.choice is None or not f.choice.usual]
    return (
        examination.flags.get("worse") != "yes"
        and any(f.known for f in odd)
        and all(f.known or f.answer is None for f in odd)
    )


def assess(
    examination: Findings, previous: Findings | None, reading: Reading | None,
    wording: Mapping[str, Mapping[str, str]] | None = None,
) -> Urgency:  # fmt: skip
    """The urgency of an examination.

    Args:
        examination: What was found.
        previous: What stands from earlier in the stay, if anything (`wardexam.reasoning.rules.standing`):
            what is worse raises urgency, and a rule that fired on it fires until its own signs are
            examined and its flags asked again.
        reading: The inferred sites, if any: they can raise urgency.
        wording: The hospital's own words for a rule's texts (`wardexam.reasoning.rules.wording`).
    """
    change = compare(previous, examination) if previous else None
    changes = {f"change:{name}" for name in change.patterns} if change else set()
    if change and change.worse:
        changes.add("change:worse")
    now = _fired(examination, changes)
    fired_now = set(now)
    earlier = {}
    if previous:
        stands = [_fired(both, set()) for both in unrelieved(previous, examination)]
        earlier = {n: undated for fired in stands for n, undated in fired.items() if n not in now}
    lowered = _lowered(examination)
    known = {} if all(not f.known for f in examination.findings) else _only_known(examination)
    now |= {name: False for name in known if name not in now}
    lowered |= {name: text for name, text in known.items() if name in now and name not in fired_now}
    reasons = [
        _reason(
            name, change, wording or {}, undated=undated, earlier=name in earlier, lowered=lowered.get(name, "")
        )
        for name, undated in (now | earlier).items()
    ]  # fmt: skip
    reasons += _by_site(examination, reading)
    order = {name: place for place, name in enumerate(rules())}
    alike = {level: {r.rule for r in reasons if r.urgency == level} for level in range(len(WORDS))}
    reasons.sort(
        key=lambda r: (
            -r.urgency, _place(r.rule, alike[r.urgency]) > 0, UNTIL_KNOWN in r.text, LIMITS.index(r.by),
            _place(r.rule, alike[r.urgency]), order.get(r.rule, len(order)),
        )
    )  # fmt: skip
    level = max((r.urgency for r in reasons), default=0)
    not_asked = tuple(f for f in flag_names() if f not in examination.flags)
    caution = POLICY if not not_asked else f"{POLICY} {NOT_EXCLUDED}"
    yes = tuple(row.short for name, row in flags().items() if examination.flags.get(name) == "yes")
    word = WORDS[level] if level or not not_asked else f"{NOT_ASSESSED}, {len(not_asked)} not asked"
    return Urgency(level, word, tuple(reasons), not_asked, yes, caution)


LOWERED = 1  # the level of a reason that a doctor has brought down


def _may_be_lowered(rule: str) -> bool:
    row = rules().get(rule)
    return bool(row.lowers) if row else rule == "inferred_site"


def _lowered(examination: Findings) -> dict[str, str]:
    """The rules that a doctor has brought down as their rows allow, with what was written; none if anything is worse."""
    if examination.flags.get("worse") == "yes":
        return {}
    return {
        act.rule: f"{act.what} ({act.by}, {act.at:%d %b %H:%M})"
        for act in examination.acts
        if act.kind == "lowered" and _may_be_lowered(act.rule)
    }


def _reason(
    name: str, change: Comparison | None, wording: Mapping[str, Mapping[str, str]], *, undated: bool, earlier: bool,
    lowered: str,
) -> Reason:  # fmt: skip
    """A rule that fired, in words."""
    row, own = rules()[name], wording.get(name, {})
    text = own.get("reason", row.reason)
    if name == "worse" and change and change.worse and "reason" not in own:
        text = change.headline  # says what is worse
    if undated:
        text = f"{text}, {UNTIL_KNOWN}"
    level = min(row.urgency, LOWERED) if lowered else row.urgency
    return Reason(
        name, level, text + (EARLIER if earlier else ""), own.get("image", row.image),
        own.get("call", row.call), row.source, row.first, row.by, row.region, row.modality, row.lowers, lowered,
    )  # fmt: skip
