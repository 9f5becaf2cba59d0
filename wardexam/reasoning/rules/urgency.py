"""How urgent it is: rules from published guidance on symptoms and signs.

Rules are rows of `urgency.toml`, the conditions that they name rows of `conditions.toml`. The level is the
highest of the rules that fire, and no condition has a "not": one more abnormal finding, "yes" or graver
grade never lowers it. What was not examined or not asked never fires and never calms; an unknown onset
counts as an acute one. The inferred sites raise urgency, to today at most, and never lower it. Silence and
"rest normal" are not looked at, nor do they end what fired earlier in the stay. What was done about a reason
answers it and ends its clock (`acts`); nothing but what its row names, written by a doctor, brings it down.
"""

from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from functools import cache
from typing import Annotated, Literal

from pydantic import Field

from wardexam.anatomy.catalogue import catalogue
from wardexam.anatomy.structures import TableRow, checked_row
from wardexam.errors import TableError
from wardexam.exam.acts import Act
from wardexam.exam.examination import Examination, Findings
from wardexam.exam.findings import Side, sides_of
from wardexam.exam.flags import every_flag, flag_names, flags
from wardexam.exam.text import COLUMN
from wardexam.reasoning.reading import Reading
from wardexam.reasoning.rules.acts import Answer, acts_of, answer, beyond, kept, written_over
from wardexam.reasoning.rules.change import PATTERNS, Comparison, compare
from wardexam.reasoning.rules.conditions import conditions, held, holding
from wardexam.reasoning.rules.contradictions import with_graver
from wardexam.reasoning.rules.deadlines import due_at, limits
from wardexam.reasoning.rules.standing import Open, still_open, unrelieved
from wardexam.reasoning.rules.switched_off import OFF_BY, OFF_ON, OFF_WHY, SwitchedOff, is_off
from wardexam.reasoning.tables import conditions_row, read

# Own plain words, least to most.
_TIMES = {"minutes": "within minutes", "today": "today", "within days": "within days"}


def in_time(by: str) -> str:
    """A limit in words, such as ``within 4 h``."""
    return _TIMES.get(by, f"within {by}")


WORSE = "worse"  # the flag by which what is known counts as new
WORDS = ("no reason for urgency found", "within days", "today", "now")
TODAY = WORDS.index("today")
NOT_ASSESSED = "not assessed"
UNCHANGED = "told to be of long standing and unchanged"
UNTIL_KNOWN = "until the onset is known"
# Beside a rule that fired earlier in the stay, its signs not examined and its flags not asked again.
EARLIER_WORD = "earlier"
EARLIER = f" ({EARLIER_WORD})"
JOINED = "with what was found earlier"
OFF_HERE = "switched off here"  # of a rule that the hospital has switched off
POLICY = "Follow local policy."
# Said whatever was found, asked or answered.
NOT_EXCLUDED = "Signs alone do not exclude an emergency, nor does a flag answered no."


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
        origin: Where it comes from: ``history``, ``signs``, both, or ``the tool's reading``;
            ``earlier`` where it stands from an earlier examination.
        since: When it was first raised in the stay; None where no time is known.
        again: From when its clock runs anew, where what had ended it does not hold any more.
        due: When its limit ends; None where the clock has ended or no time is known.
        acts: What was done about it, in order; what does not count any more says what ended it.
        answered: Whether anything was done that counts: the alarm is not new.
        ended: What was found since the clock was ended, in words; empty where it was not or nothing was.
        site: Of the tool's own alarm, the region of the likeliest dangerous site; else empty.
        short: Why, in at most `COLUMN` columns, where it is longer; else empty.
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
    origin: str = ""
    since: datetime | None = None
    again: datetime | None = None
    due: datetime | None = None
    acts: tuple[Act, ...] = ()
    answered: bool = False
    ended: str = ""
    site: str = ""
    short: str = ""

    @property
    def brief(self) -> str:
        """Why, where there is no room for more: whole words in at most `COLUMN` columns."""
        return self.text if len(self.text) <= COLUMN else self.short or self.text

    @property
    def asked(self) -> Act | None:
        """The image that was asked for and is waited for; None where none is."""
        if self.due is None:
            return None
        return next((a for a in self.acts if a.kind == "asked" and not a.ended), None)

    @property
    def said(self) -> str:
        """Why, with where it comes from: ``possible stroke (signs)``."""
        told = EARLIER in self.text or not self.origin
        return self.text if told else f"{self.text} ({self.origin})"


@dataclass(frozen=True, slots=True)
class Urgency:
    """The urgency, 0 to 3, its word, the reasons (gravest and soonest first, of a level those that are settled last), the flags not asked and those said yes.

    `switched_off` are the rules that would have spoken and that the hospital has switched off: they are in
    neither the level nor the reasons. `within` are reasons that a graver one says and more: kept, not said.
    """

    level: int
    word: str
    reasons: tuple[Reason, ...]
    not_asked: tuple[str, ...]
    answered_yes: tuple[str, ...]
    caution: str
    switched_off: tuple[SwitchedOff, ...] = ()
    within: tuple[Reason, ...] = ()


class Rule(TableRow):
    """One row of `urgency.toml`; its head says what each column is."""

    some: tuple[str, ...] = Field(alias="any")
    every: tuple[str, ...] = Field(alias="all")
    urgency: Annotated[int, Field(ge=1, lt=len(WORDS))]
    reason: str
    short: str = ""
    first: str
    region: str
    modality: str
    image: str
    call: str
    by: str
    known: Literal["yields", "stands"]
    said_after: tuple[str, ...]
    first_with: tuple[str, ...] = ()
    within: tuple[str, ...] = ()
    lowers: str
    clock: Literal["raised", "asked"] = "raised"


@cache
def rules() -> dict[str, Rule]:
    """The rules by id.

    Raises:
        TableError: A row is malformed, or speaks of an unknown flag, condition, change or limit.
    """
    known = {f"flag:{f}" for f in every_flag()} | {f"sign:{c}" for c in conditions()}
    known |= {f"change:{pattern}" for pattern in ("worse", *PATTERNS)}
    told = conditions_row("unchanged")
    for flag in (*told["no"], *told["not_yes"]):
        if flag not in every_flag():
            raise TableError(f"unknown flag '{flag}'", "conditions.toml, unchanged")
    made = {}
    for name, row in read("rules/urgency.toml").items():
        where = f"urgency.toml, rule {name}"
        made[name] = checked_row(Rule, row, where)
        if not made[name].some:
            raise TableError("nothing raises it", where)
        for item in (*made[name].some, *made[name].every, *made[name].first_with):
            if item not in known:
                raise TableError(f"unknown condition '{item}'", where)
        brief = made[name].short or made[name].reason
        if len(brief) > COLUMN or (made[name].short and len(made[name].reason) <= COLUMN):
            raise TableError(
                f"'short' says in {COLUMN} columns what is longer as 'reason', and nothing else",
                where,
            )
        if made[name].by not in limits():
            raise TableError(f"unknown limit '{made[name].by}'", where)
        if made[name].urgency > TODAY and made[name].by in (WORDS[TODAY], WORDS[LOWERED]):
            raise TableError(f"'{made[name].by}' is no limit of what is '{WORDS[-1]}'", where)
    for name, row in made.items():
        for other in row.within:
            graver = other in made and made[other].urgency >= row.urgency
            if (
                not graver
                or limits()[made[other].by] > limits()[row.by]
                or name in (other, *made[other].within)
            ):
                raise TableError(
                    f"'{other}' is no rule that says '{name}' and more",
                    f"urgency.toml, rule {name}",
                )
        for other in row.said_after:
            if other not in made or other == name:
                raise TableError(f"unknown rule '{other}'", f"urgency.toml, rule {name}")
            if row.by == SOONEST != made[other].by:
                raise TableError(
                    f"'{other}' has more time and would be said first", f"urgency.toml, rule {name}"
                )
    return made


def _place(rule: str, fired: set[str], what: Collection[str]) -> int:
    """How many rules that fired as well are said before this one; the inferred site comes after all.

    Args:
        rule: The rule.
        fired: Those that fired.
        what: The flags and conditions that hold.
    """
    if rule not in rules():
        return len(fired)
    row = rules()[rule]
    before = [rules()[other] for other in row.said_after if other in fired]
    if not set(row.first_with).isdisjoint(what):
        before = [other for other in before if limits()[other.by] <= limits()[row.by]]
    return len(before)


def holds(examination: Findings) -> set[str]:
    """The flags said yes and the named conditions that hold."""
    yes = {f"flag:{name}" for name, answer in examination.flags.items() if answer == "yes"}
    return yes | {f"sign:{name}" for name in holding(examination)}


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
        views = _views(found, changes)
        apart = {id(view): view for view in views}  # mostly one and the same
        self._views = [(view, held(view), holds(view).union(changes)) for view in apart.values()]
        self._seen_as = [list(apart).index(id(view)) for view in views]
        self.now = frozenset(
            name for name, row in rules().items() if fires(row, self._views[self._sees(row)][2])
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


def level_of(found: Findings) -> int:
    """The level of the rules that fire on what was found, 0 to 3: no acts, no stay, no reading."""
    return max((rules()[name].urgency for name in fired(found)), default=0)


def _undated(found: Findings, changes: Collection[str] = ()) -> dict[str, bool]:
    """The rules that fire, each with whether it hangs on an onset that is not known."""
    now = fired(found, changes)
    if found.context.onset != "unknown":
        return {name: False for name in rules() if name in now}
    told = found.context.model_copy(update={"onset": conditions_row("inferred_site")["told"]})
    later = fired(found.model_copy(update={"context": told}), changes)
    return {name: name not in later for name in rules() if name in now}


def unchanged(found: Findings) -> bool:
    """Whether it was told that all of it is of long standing and, when asked, that nothing is worse."""
    row, said = conditions_row("unchanged"), found.flags.get
    return (
        found.context.onset in row["onset"]
        and all(said(flag) == "no" for flag in row["no"])
        and all(said(flag) != "yes" for flag in row["not_yes"])
    )


WHOLE, MARKED, FRESH = 0, 1, 2  # views of what was found


def _views(found: Findings, changes: Collection[str]) -> tuple[Findings, Findings, Findings]:
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


def _only_known(examination: Findings, changes: Collection[str]) -> dict[str, str]:
    """Rules above the lowest level that only what is known would fire, with what was written of it."""
    whole, _, fresh = _views(examination, changes)
    if fresh is whole:
        return {}
    would, do = holds(whole), holds(fresh)
    written = ", ".join(dict.fromkeys(f.known for f in examination.findings if f.known))
    return {
        name: f"known: {written or UNCHANGED}"
        for name, row in rules().items()
        if _view_of(row) == FRESH and fires(row, would) and not fires(row, do)
    }


def fires(row: Rule, what: set[str] | frozenset[str]) -> bool:
    """Whether a rule fires where these flags, conditions and changes hold, such as ``flag:fever``."""
    return not what.isdisjoint(row.some) and what.issuperset(row.every)


SOONEST = "minutes"
OWN = "inferred_site"  # the tool's own alarm: what the acts and what is kept of it call it


def own_alarm(
    examination: Findings, reading: Reading, changes: Collection[str] = ()
) -> Reason | None:
    """What the inferred sites raise: by their summed chance, so that two dangerous ones calm no more than one."""
    row = conditions_row(OWN)
    if reading.entered < row["entered"] or _all_known(_views(examination, changes), FRESH):
        return None
    sites = reading.dangerous
    if sum(s.probability for s in sites) < row["probability"]:
        return None
    acute = examination.context.onset in row["acute"]
    level = row["urgency_acute" if acute else "urgency"]
    text = f"signs may mean: {sites[0].name}" + (
        " or another urgent place" if len(sites) > 1 else ""
    )
    return _of_site(level, text, sites[0].region)


def _of_site(level: int, text: str, region: str) -> Reason:
    """The tool's own alarm, with the image of the region of the likeliest dangerous site."""
    row = conditions_row(OWN)
    image = row["image"].get(region, row["image"]["other"])
    by = row["by_acute" if level >= row["urgency_acute"] else "by"]
    return Reason(
        OWN, level, text, image["image"], row["call"], row["source"], row["first"], by, image["region"],
        image["modality"], row["lowers"], origin="the tool's reading", site=region, short="the tool's own alarm",
    )  # fmt: skip


def _by_site(
    examination: Findings,
    previous: Findings | None,
    reading: Reading | None,
    changes: Collection[str],
    *,
    own: bool,
    settled: bool,
) -> Reason | None:
    """The tool's own alarm: as it stands now, or as it was raised before where no act has settled it.

    What is marked as known takes back what was raised before; that it is told to be unchanged does not.
    """
    now = own_alarm(examination, reading, changes) if reading else None
    if (not own and reading is None) or _all_known(_views(examination, changes), MARKED):
        return None
    before = kept(examination).get(OWN) or (kept(previous).get(OWN) if previous else None)
    if before is None or not before.level or settled:
        return now
    if now and now.urgency >= before.level:
        return now
    held = _of_site(before.level, before.text, before.region)
    return replace(held, origin=f"{held.origin}, {EARLIER_WORD}")


def _all_known(views: tuple[Findings, Findings, Findings], view: int) -> bool:
    """Whether something is out of the usual, and all of it is known in a view."""

    def odd(found: Findings) -> bool:
        those = (f for f in found.findings if f.answer is not None)
        return any(f.choice is None or not f.choice.usual for f in those)

    return odd(views[WHOLE]) and not odd(views[view])


def assess(
    examination: Findings, previous: Findings | None, reading: Reading | None,
    wording: Mapping[str, Mapping[str, str]] | None = None, *, own: bool = False, still: Open | None = None,
) -> Urgency:  # fmt: skip
    """The urgency of an examination.

    Args:
        examination: What was found.
        previous: What stands from earlier in the stay, if anything (`wardexam.reasoning.rules.standing`):
            what is worse raises urgency.
        reading: The inferred sites, if any: they can raise urgency.
        wording: The hospital's own words for a rule's texts, and which rule is switched off here
            (`wardexam.reasoning.rules.wording`).
        own: Whether the tool's own alarm counts as it was raised before, also without a reading.
        still: What is open of the stay (`still_open`): a rule that fired on it fires until its own signs are
            examined and its flags asked again. Made of `previous` alone where it is not given.
    """
    still = still or (still_open((previous,)) if previous else None)
    examination = _dated(with_graver(examination), previous, still)
    change = compare(previous, examination) if previous else None
    changes = {f"change:{name}" for name in change.patterns} if change else set()
    if change and change.worse:
        changes.add("change:worse")
    now = _undated(examination, changes)
    fired_now = set(now)
    joined: dict[str, bool] = {}
    before: set[str] = set()
    standing: tuple[Findings, ...] = (examination,)
    if still:
        standing = unrelieved(still, examination)
        stands = [_undated(both) for both in standing]
        joined = {n: hangs for each in stands for n, hangs in each.items() if n not in now}
        before = {n for alone in still.alone for n in fired(alone)} if joined else set()
        if previous and not still.looked_at_again(examination):
            # What stood when the last one was saved stands: nothing of it was looked at.
            kept_rules = {n for n in kept(previous) if n in rules() and n not in now}
            joined |= {n: False for n in kept_rules if n not in joined}
            before |= kept_rules
    known = _only_known(examination, changes)
    now |= {name: False for name in known if name not in now}
    origins = _origins(examination, fired_now, changes)
    own_words = wording or {}
    spoken = now | joined
    off = [n for n in spoken if n in own_words and is_off(own_words[n])]
    reasons = [
        _reason(
            name, change, own_words, undated=undated, earlier=name in before and name in joined,
            origin=origins.get(name, JOINED),
        )
        for name, undated in spoken.items() if name not in off
    ]  # fmt: skip
    reasons = [replace(r, first=_left_to_do(r.first, examination)) for r in reasons]
    worse = change.headline if change and change.worse else ""
    worse = "said to be worse" if examination.flags.get(WORSE) == "yes" else worse
    acts = acts_of(previous, examination)
    about_own = answer(OWN, acts, examination.acts, standing[0], worse, lowers=True)
    settled = about_own.settled is not None
    by_site = _by_site(examination, previous, reading, changes, own=own, settled=settled)
    reasons += [by_site] if by_site else []
    reasons = [
        _answered(
            r,
            answer(r.rule, acts, examination.acts, standing[0], worse, lowers=_may_be_lowered(r.rule)),
            examination, previous, known.get(r.rule, "") if r.rule not in fired_now else "",
        )
        for r in reasons
    ]  # fmt: skip
    within = _within(reasons)
    reasons = [r for r in reasons if r not in within]
    order = {name: place for place, name in enumerate(rules())}
    spans = list(limits())
    alike = {level: {r.rule for r in reasons if r.urgency == level} for level in range(len(WORDS))}
    what = set().union(*map(holds, standing)) if reasons else set[str]()
    places = {r.rule: _place(r.rule, alike[r.urgency], what) for r in reasons}
    reasons.sort(
        key=lambda r: (
            -r.urgency, r.answered and r.due is None, r.by != SOONEST, places[r.rule] > 0, UNTIL_KNOWN in r.text,
            spans.index(r.by), places[r.rule], order.get(r.rule, len(order)),
        )
    )  # fmt: skip
    level = max((r.urgency for r in reasons), default=0)
    not_asked = tuple(f for f in flag_names() if f not in examination.flags)
    yes = tuple(row.short for name, row in flags().items() if examination.flags.get(name) == "yes")
    open_ = [f"{len(not_asked)} not asked"] if not_asked else []
    open_ += [f"{len(off)} {OFF_HERE}"] if off else []
    word = WORDS[level] if level or not open_ else ", ".join((NOT_ASSESSED, *open_))
    silent = sorted((_silent(n, own_words[n]) for n in off), key=lambda r: -r.urgency)
    caution = f"{POLICY} {NOT_EXCLUDED}"
    return Urgency(level, word, tuple(reasons), not_asked, yes, caution, tuple(silent), within)


def _dated(examination: Findings, previous: Findings | None, still: Open | None) -> Findings:
    """The same with the onset that was told earlier in the stay, where nothing goes beyond what was found and told since.

    What was found when no onset was told stays undated, and so does all that is examined with it.
    """
    if (
        not (previous and still)
        or examination.context.onset != "unknown"
        or still.onset == "unknown"
    ):
        return examination
    story = examination.context.model_copy(update={"onset": still.onset})
    told = examination.model_copy(update={"context": story})
    undated = {f.key for f in still.undated.findings}
    found = any(f.key in undated for f in examination.findings if not (f.choice and f.choice.usual))
    return examination if found or beyond(written_over(previous), told) else told


def _silent(name: str, own: Mapping[str, str]) -> SwitchedOff:
    """A rule that would have spoken, as the hospital has switched it off."""
    row = rules()[name]
    return SwitchedOff(
        name, row.urgency, own.get("reason", row.reason), _brief(row, own), own[OFF_BY],
        own[OFF_WHY], own[OFF_ON],
    )  # fmt: skip


def _within(reasons: list[Reason]) -> tuple[Reason, ...]:
    """What another reason, no less grave and with no more time, says already: it is said again once that is brought down.

    One that hangs on an onset that is not known takes the place of none. What was done about a reason has it said.
    """
    stand = [r for r in reasons if not r.lowered and UNTIL_KNOWN not in r.text]
    names = {r.rule for r in stand}

    def said(reason: Reason) -> bool:
        if reason.rule == OWN:
            regions = conditions_row(OWN)["within"][reason.region]
            return any(r.urgency > reason.urgency and r.region in regions for r in stand)
        return not names.isdisjoint(rules()[reason.rule].within)

    return tuple(r for r in reasons if not r.acts and said(r))


LOWERED = 1  # the level of a reason that a doctor has brought down


def _may_be_lowered(rule: str) -> bool:
    row = rules().get(rule)
    return bool(row.lowers) if row else rule == OWN


def may_be_lowered(rule: str) -> str:
    """What brings a reason down once a doctor has written it; empty where nothing does."""
    row = rules().get(rule)
    return row.lowers if row else str(conditions_row(OWN)["lowers"])


def _origins(examination: Findings, fired: set[str], changes: set[str]) -> dict[str, str]:
    """Where each rule that fires comes from: it still does without the signs, without the flags."""
    asked = any(answer == "yes" for answer in examination.flags.values())
    if not fired:
        return {}
    bare = examination.model_copy(update={"findings": (), "rest_normal": ()})
    no_signs = holds(bare) if asked and examination.findings else None
    no_flags = (
        holds(examination.model_copy(update={"flags": {}})) | changes
        if no_signs is not None
        else None
    )
    neither = holds(bare.model_copy(update={"flags": {}}))
    made = {}
    for name in fired:
        row = rules()[name]
        # Without a "yes" it comes from the signs, without a sign from the flags, if not from the story alone.
        told = fires(row, no_signs) if no_signs is not None else asked
        seen = fires(row, no_flags) if no_flags is not None else not asked
        if fires(row, neither):
            made[name] = "history"
        elif told != seen:
            made[name] = "history" if told else "signs"
        else:
            made[name] = "history and signs"
    return made


def _answered(
    reason: Reason, said: Answer, examination: Findings, previous: Findings | None, known: str
) -> Reason:
    """A reason with since when it stands, what was done about it, and by when it is due."""
    before = kept(examination).get(reason.rule) or (previous and kept(previous).get(reason.rule))
    at = examination.at if isinstance(examination, Examination) else None
    first = (
        previous.at if reason.origin == EARLIER_WORD and isinstance(previous, Examination) else at
    )
    since = before.since if before else first
    again = at if said.anew else before.again if before else None
    start = again or since
    lowered = known
    if said.lowered:
        act = said.lowered
        lowered = f"{act.what} ({act.by}, {act.at:%d %b %H:%M})"
    ended = said.settled is not None or bool(lowered) or start is None
    return replace(
        reason,
        urgency=min(reason.urgency, LOWERED) if lowered else reason.urgency,
        lowered=lowered,
        since=since,
        again=again,
        due=None if ended or start is None else due_at(start, reason.by),
        acts=said.acts,
        answered=said.answered,
        ended=said.ended,
    )


def _reason(
    name: str, change: Comparison | None, wording: Mapping[str, Mapping[str, str]], *, undated: bool, earlier: bool,
    origin: str,
) -> Reason:  # fmt: skip
    """A rule that fired, in words."""
    row, own = rules()[name], wording.get(name, {})
    text = own.get("reason", row.reason)
    if name == WORSE and change and change.worse and "reason" not in own:
        text = change.headline  # says what is worse
    if undated:
        text = f"{text}, {UNTIL_KNOWN}"
    return Reason(
        name, row.urgency, text + (EARLIER if earlier else ""), own.get("image", row.image),
        own.get("call", row.call), row.source, row.first, row.by, row.region, row.modality, row.lowers,
        origin=EARLIER_WORD if earlier else origin, short=_brief(row, own),
    )  # fmt: skip


@cache
def _done_by() -> dict[str, tuple[tuple[str, Side], ...]]:
    """The sign, with its sides, by which a step of a reason is done.

    Raises:
        TableError: A row names no sign, or no step of a rule.
    """
    rows = {step: sign for step, sign in conditions_row("done_by").items() if step != "source"}
    steps = {s.split(",")[0].strip() for row in rules().values() for s in row.first.split(";")}
    for step, sign in rows.items():
        if sign not in catalogue() or step not in steps:
            raise TableError(
                f"no sign '{sign}', or no step '{step}'", where="conditions.toml, done_by"
            )
    return {
        step: tuple((sign, side) for side in sides_of(catalogue()[sign]))
        for step, sign in rows.items()
    }


def _left_to_do(steps: str, examination: Findings) -> str:
    """The steps of a reason without those whose sign is recorded, on every side that it has."""

    def done(step: str) -> bool:
        sign = _done_by().get(step.split(",")[0].strip())
        found = [examination.finding(*key) for key in sign or ()]
        return bool(found) and all(f is not None and f.answer is not None for f in found)

    return "; ".join(step.strip() for step in steps.split(";") if not done(step))


def _brief(row: Rule, own: Mapping[str, str]) -> str:
    """The reason for a narrow column: the hospital's own where it fits, else the table's."""
    if len(said := own.get("reason", "")) in range(1, COLUMN + 1):
        return said
    return row.short or row.reason
