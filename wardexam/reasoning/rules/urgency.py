"""How urgent it is: rules from published guidance on symptoms and signs.

Rules are rows of `urgency.toml`, the conditions that they name rows of `conditions.toml`. The level is the
highest of the rules that fire, and no condition has a "not": one more abnormal finding, "yes" or graver
grade never lowers it. What was not examined or not asked never fires and never calms; an unknown onset
counts as an acute one. The inferred sites raise urgency, to today at most, and never lower it. Silence and
"rest normal" are not looked at, nor do they end what fired earlier in the stay. What was done about a reason
answers it and ends its clock (`acts`); nothing but what its row names, written by a doctor, brings it down.
"""

from collections.abc import Collection, Mapping
from dataclasses import replace
from functools import cache

from wardexam.anatomy.catalogue import PARTS, catalogue
from wardexam.exam.examination import Context, Examination, Findings
from wardexam.exam.findings import sides_of
from wardexam.exam.flags import flags
from wardexam.exam.naming import joined as in_a_row
from wardexam.exam.onset import NEW_BEGAN
from wardexam.exam.text import COLUMN
from wardexam.reasoning.reading import Reading
from wardexam.reasoning.rules.acts import Answer, acts_of, answer, beyond, kept, written_over
from wardexam.reasoning.rules.change import Comparison, compare
from wardexam.reasoning.rules.change_words import headline
from wardexam.reasoning.rules.contradictions import with_graver
from wardexam.reasoning.rules.deadlines import end_of, limits
from wardexam.reasoning.rules.firing import (
    WORSE,
    fired,
    fires,
    holds,
    only_known,
    undated,
)
from wardexam.reasoning.rules.own_alarm import OWN, standing_alarm
from wardexam.reasoning.rules.reason import (
    EARLIER,
    EARLIER_WORD,
    NO_IMAGE,
    NOT_AWAITED,
    Reason,
    Urgency,
)
from wardexam.reasoning.rules.rule_table import LOWERED, SOONEST, WORDS, Rule, rules
from wardexam.reasoning.rules.standing import (
    Open,
    dated,
    still_open,
    told_apart,
    unrelieved,
)
from wardexam.reasoning.rules.stay import Stay, slides_text, stay_words
from wardexam.reasoning.rules.switched_off import OFF_BY, OFF_ON, OFF_WHY, SwitchedOff, is_off
from wardexam.reasoning.tables import conditions_row
from wardexam.tables import all_known

NOT_ASSESSED = "not assessed"
NOT_EXAMINED = "not examined"
UNTIL_KNOWN = "until the onset is known"
# The same where an onset was told earlier in the stay: the question that settles it is another.
UNTIL_NEW_KNOWN = f"until known {NEW_BEGAN}"
JOINED = "with what was found earlier"
OFF_HERE = "switched off here"  # of a rule that the hospital has switched off
POLICY = "Follow local policy."
# Said whatever was found, asked or answered.
NOT_EXCLUDED = "Signs alone do not exclude an emergency, nor does a flag answered no."


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


def assess(
    examination: Findings, previous: Findings | None, reading: Reading | None,
    wording: Mapping[str, Mapping[str, str]] | None = None, *, own: bool = False, still: Open | None = None,
    stay: Stay | None = None,
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
        stay: The examinations of the stay: what is worse than it began raises urgency as well.
    """
    still = still or (still_open((previous,)) if previous else None)
    examination = with_graver(examination)
    if previous and still:
        examination = dated(previous, examination, still)
    change = compare(previous, examination) if previous else None
    changes = {f"change:{name}" for name in change.patterns} if change else set()
    standing: tuple[Findings, ...] = unrelieved(still, examination) if still else (examination,)
    slides = stay.worsening(examination, standing[0], previous, change) if stay and previous else ()
    if slides or (change and change.worse):
        changes.add("change:worse")
    now = undated(examination, changes)
    stands = [undated(both) for both in standing] if still else []
    if previous and stands and not changes and not beyond(written_over(previous), examination):
        # Some of the same once more: what showed that it is of one nerve or root was found before; when it began is as now.
        as_now = [s.model_copy(update={"context": examination.context}) for s in standing]
        held = set().union(*stands, *map(fired, as_now))
        now = {n: hangs for n, hangs in now.items() if n in held}
    of_old = _of_old(previous, examination, still, changes) if previous and still else set[str]()
    fired_now = set(now)
    joined: dict[str, bool] = {}
    before: set[str] = set()
    if still:
        joined = {n: hangs for each in stands for n, hangs in each.items() if n not in now}
        before = {n for alone in still.alone for n in fired(alone)} if joined else set()
        if previous and not still.looked_at_again(examination):
            # What stood when the last one was saved stands: nothing of it was looked at.
            kept_rules = [n for n, r in kept(previous).items() if n in rules() and n not in now and not r.by_error]  # fmt: skip
            joined |= {n: n in of_old for n in kept_rules if n not in joined}
            before.update(kept_rules)
    known = only_known(examination, changes)
    now |= {name: False for name in known if name not in now}
    origins = _origins(examination, fired_now.union(known), changes)
    own_words = wording or {}
    spoken = now | joined
    until = UNTIL_NEW_KNOWN if still and still.onset != "unknown" else UNTIL_KNOWN
    off = [n for n in rules() if n in spoken and n in own_words and is_off(own_words[n])]
    at = examination.at if isinstance(examination, Examination) else None
    over_stay = slides_text(slides, at or slides[0].began) if slides else ""
    reasons = [
        _reason(
            name, change, over_stay, own_words, until=until if hangs else "", earlier=name in before and name in joined,
            origin=origins.get(name, JOINED),
        )
        for name, hangs in spoken.items() if name not in off
    ]  # fmt: skip
    reasons = [replace(r, first=_left_to_do(r.first, examination)) for r in reasons]
    worse = over_stay if any(s.anew for s in slides) else ""
    worse = headline(change) if change and change.worse else worse
    worse = "said to be worse" if examination.flags.get(WORSE) == "yes" else worse
    acts = acts_of(previous, examination)
    about_own = answer(OWN, acts, examination.acts, standing[0], worse, lowers=True)
    settled = about_own.settled is not None
    alarm = standing_alarm(examination, previous, reading, changes, own=own, settled=settled)
    reasons += [alarm] if alarm else []
    reasons = [
        _answered(
            r,
            answer(r.rule, acts, examination.acts, standing[0], worse, lowers=bool(lowered_by(r.rule))),
            examination, previous, known.get(r.rule, "") if r.rule not in fired_now else "",
        )
        for r in reasons
    ]  # fmt: skip
    within = _within(reasons, of_old)
    reasons = [r for r in reasons if r not in within]
    order = {name: place for place, name in enumerate(rules())}
    spans = list(limits())
    alike = {level: {r.rule for r in reasons if r.urgency == level} for level in range(len(WORDS))}
    what = set().union(*map(holds, standing)) if reasons else set[str]()
    places = {r.rule: _place(r.rule, alike[r.urgency], what) for r in reasons}
    # What may be new does not hide a limit that is passed already.
    late = {r.urgency for r in reasons if at and r.due and r.due <= at and not r.undated}
    reasons.sort(
        key=lambda r: (
            -r.urgency, r.answered and r.due is None, r.undated and r.urgency in late, r.by != SOONEST,
            places[r.rule] > 0, r.undated,
            spans.index(r.by), places[r.rule], order.get(r.rule, len(order)),
        )
    )  # fmt: skip
    if any(r.imaged and not r.lowered for r in reasons):
        reasons = [replace(r, image=r.image.replace(NO_IMAGE, NOT_AWAITED)) for r in reasons]
    level = max((r.urgency for r in reasons), default=0)
    not_asked = examination.flags_open
    yes = tuple(row.short for name, row in flags().items() if examination.flags.get(name) == "yes")
    open_ = [f"{len(not_asked)} not asked"] if not_asked else []
    open_ += [f"{len(off)} {OFF_HERE}"] if off else []
    blank = () if open_ else _not_examined(examination)
    open_ += [f"{in_a_row(blank)} {NOT_EXAMINED}"] if blank else []
    word = WORDS[level] if level or not open_ else ", ".join((NOT_ASSESSED, *open_))
    silent = sorted((_silent(n, own_words[n]) for n in off), key=lambda r: -r.urgency)
    caution = f"{POLICY} {NOT_EXCLUDED}"
    return Urgency(level, word, tuple(reasons), not_asked, yes, caution, tuple(silent), within)


def _silent(name: str, own: Mapping[str, str]) -> SwitchedOff:
    """A rule that would have spoken, as the hospital has switched it off."""
    row = rules()[name]
    return SwitchedOff(
        name, row.urgency, own.get("reason", row.reason), _brief(row, own), own[OFF_BY],
        own[OFF_WHY], own[OFF_ON],
    )  # fmt: skip


def _of_old(
    previous: Findings, examination: Findings, still: Open, changes: Collection[str]
) -> set[str]:
    """The rules that what is dated would fire by itself, were its onset not known, and what may be new does not."""
    apart = told_apart(previous, examination, still)
    if apart is None:
        return set()
    old, new = apart
    return set().union(*map(fired, old)).difference(*(fired(n, changes) for n in new))


def _within(reasons: list[Reason], of_old: Collection[str]) -> tuple[Reason, ...]:
    """What another reason, no less grave and with no more time, says already: it is said again once that is brought down.

    One that hangs on an onset that is not known takes the place of none. What was done about a reason has it said.

    Args:
        reasons: All that stand.
        of_old: Rules that what is dated gives by itself: such a reason keeps that date, and is not said beside one as
            grave whose clock runs, so that no level falls by it.
    """
    stand = [r for r in reasons if not r.lowered and not r.undated]
    names = {r.rule for r in stand}
    fresh = [r for r in reasons if not (r.undated and r.rule in of_old)]

    def said(reason: Reason) -> bool:
        if reason not in fresh:
            return any(r.urgency >= reason.urgency and (r.due or not reason.due) for r in fresh)
        if reason.rule == OWN:
            regions = conditions_row(OWN)["within"][reason.region]
            return any(r.urgency > reason.urgency and r.region in regions for r in stand)
        return not names.isdisjoint(rules()[reason.rule].within)

    return tuple(r for r in reasons if not r.acts and said(r))


def lowered_by(rule: str) -> str:
    """What brings a reason down once a doctor has written it; empty where nothing does, and for a rule that is not known."""
    if rule == OWN:
        return str(conditions_row(OWN)["lowers"])
    return rules()[rule].lowers if rule in rules() else ""


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
    before = kept(examination).get(reason.rule)
    if before is None and previous is not None:
        before = kept(previous).get(reason.rule)
        # Nothing was due of what was taken as known: it is raised where it is not any more.
        new = not (known or said.acts or reason.origin == EARLIER_WORD)
        if (
            new
            and before
            and before.level == LOWERED
            and reason.rule in only_known(previous, set())
        ):
            before = None
    made = examination if isinstance(examination, Examination) else None
    at = made.at if made else None
    first = (
        previous.at if reason.origin == EARLIER_WORD and isinstance(previous, Examination) else at
    )
    since = before.since if before else first
    if since and made and made.entered:
        since = min(since, made.at)  # put down when it was entered, found before that
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
        due=None if ended or start is None else end_of(start, reason.by),
        acts=said.acts,
        answered=said.answered,
        ended=said.ended,
    )


def _reason(
    name: str, change: Comparison | None, over_stay: str, wording: Mapping[str, Mapping[str, str]], *, until: str, earlier: bool,
    origin: str,
) -> Reason:  # fmt: skip
    """A rule that fired, in words."""
    row, own = rules()[name], wording.get(name, {})
    text = own.get("reason", row.reason)
    brief = _brief(row, own)
    if name == WORSE and "reason" not in own:  # says what is worse
        if change and change.worse:
            text = headline(change)
        elif over_stay:
            text, brief = over_stay, stay_words()
    if until:
        text = f"{text}, {until}"
    return Reason(
        name, row.urgency, text + (EARLIER if earlier else ""), own.get("image", row.image),
        own.get("call", row.call), row.source, row.first, row.by, row.region, row.modality, row.lowers,
        origin=EARLIER_WORD if earlier else origin, undated=bool(until), short=brief,
    )  # fmt: skip


@cache
def _steps() -> frozenset[str]:
    """The first steps of all rules, each up to its comma."""
    each = (step for row in rules().values() for step in row.first.split(";"))
    return frozenset(step.split(",")[0].strip() for step in each)


@cache
def _done_by() -> dict[str, tuple[str, ...]]:
    """The signs, or the words of the story, by any of which a step of a reason is done.

    Raises:
        TableError: A row names no sign and no word of the story, or no step of a rule.
    """
    rows = {
        step: tuple(ways) for step, ways in conditions_row("done_by").items() if step != "source"
    }
    where = "conditions.toml, done_by"
    all_known(rows, _steps(), where)
    for step, ways in rows.items():
        all_known(ways, {*catalogue(), *Context.model_fields}, f"{where}, {step}")
    return rows


@cache
def _of_childbearing() -> frozenset[str]:
    """The steps that are of who may be pregnant.

    Raises:
        TableError: One is no step of a rule.
    """
    steps = frozenset(conditions_row("of_childbearing")["steps"])
    all_known(steps, _steps(), "conditions.toml, of_childbearing")
    return steps


def _may_be_pregnant(examination: Findings) -> bool:
    told = examination.context
    until: int = conditions_row("of_childbearing")["until"]
    return told.sex != "male" and (told.age is None or told.age <= until)


def _left_to_do(steps: str, examination: Findings) -> str:
    """The steps of a reason without those whose sign is recorded, on every side that it has, or whose word is told.

    Nor those of childbearing for who can bear no child.
    """

    def done(step: str) -> bool:
        name = step.split(",")[0].strip()
        if name in _of_childbearing():
            return not _may_be_pregnant(examination)
        return any(map(answered, _done_by().get(name, ())))

    def answered(what: str) -> bool:
        if what not in catalogue():
            return examination.context.told(what)
        found = [examination.finding(what, side) for side in sides_of(catalogue()[what])]
        return all(f is not None and f.answer is not None for f in found)

    return "; ".join(step.strip() for step in steps.split(";") if not done(step))


@cache
def _examined_by() -> dict[str, tuple[str, ...]]:
    """What is examined before it is said that nothing raises the urgency, each with its parts and signs.

    Raises:
        TableError: A row names no part and no sign.
    """
    rows = {n: tuple(by) for n, by in conditions_row("examined").items() if n != "source"}
    for name, by in rows.items():
        all_known(by, {*PARTS, *catalogue()}, f"conditions.toml, examined, {name}")
    return rows


def _not_examined(examination: Findings) -> tuple[str, ...]:
    """What of it was neither examined nor stated normal."""
    by = {s.part for s in examination.rest_normal}
    for f in examination.findings:
        by |= {f.row.part, f.sign} if f.answer is not None else set()
    return tuple(name for name, ways in _examined_by().items() if by.isdisjoint(ways))


def _brief(row: Rule, own: Mapping[str, str]) -> str:
    """The reason for a narrow column: the hospital's own where it fits, else the table's."""
    if len(said := own.get("reason", "")) in range(1, COLUMN + 1):
        return said
    return row.short or row.reason
