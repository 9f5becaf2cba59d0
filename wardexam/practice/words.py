"""What practice says: a case, an answer beside what was so, the two ways, and progress. Each page begins with the notice."""

import textwrap
from collections.abc import Sequence
from itertools import zip_longest

from wardexam.exam.text import counted
from wardexam.practice.case import MODEL, NOTICE, PUBLISHED, SHORT, Case
from wardexam.practice.feedback import Feedback
from wardexam.practice.first import calms
from wardexam.practice.path import Path
from wardexam.practice.progress import (
    EMERGENCY,
    FEW,
    SMALL,
    Result,
    brier,
    first_times,
    reliability,
)
from wardexam.practice.tables import actions, best_row, levels
from wardexam.reasoning.rules.rule_table import WORDS

HALF = 38  # columns of one of two ways
ROWS = 18  # lines of a way, so that a page fits 24


def named(case: Case) -> str:
    """A case by its name and level."""
    if case.kind == "published":
        return f"Published case {case.id}"
    return f"Case {case.id} ({levels()[case.level].name})"


def opening(case: Case) -> list[str]:
    """What is told before anything is tested."""
    return ["", f"{NOTICE}. {named(case)}.", case.told]


def caution(case: Case) -> str:
    """What the case is worth."""
    return PUBLISHED if case.kind == "published" else MODEL


def verdict(right: bool | None) -> str:
    """Right, wrong, or not scored."""
    return "not scored" if right is None else "right" if right else "NOT right"


def answered(made: Feedback, places: dict[str, str]) -> list[str]:
    """An answer beside what was so, the finding that decided, and when it could have been known."""
    answer, truth = made.answer, made.case.truth
    right = made.site_right and made.side_right
    guess = "" if made.path.signs else ", by a guess"
    return [
        "",
        f"{NOTICE}. {named(made.case)}, answered.",
        f"It was: {truth.words}. {truth.of}",
        f"Place: {places[answer.place]}: {verdict(made.site_right)}."
        f" Side: {answer.side}: {verdict(made.side_right)}." + _level(made),
        *_looked(made.path),
        *_urgency(made),
        *_action(made),
        f"You were {answer.sure}% sure of place and side, and"
        f" {f'right{guess}' if right else 'not right'}.",
        *_when(made),
        SHORT,
    ]


def _level(made: Feedback) -> str:
    """The answered segment beside the true one, which is not counted."""
    off = made.segments_off
    if off is None:
        return ""
    return f" Level: {made.answer.level}: " + ("right." if off == 0 else f"{counted(off, 'segment')} off.")  # fmt: skip


def _looked(path: Path) -> list[str]:
    """That nothing was looked for, where so little was that finding nothing says nothing."""
    if not path.calms_nobody:
        return []
    tested = f"tested {counted(path.signs, 'sign')}" if path.signs else "examined nothing"
    asked = "" if path.asked else " and asked no red flag"
    return [f"You {tested}{asked}: 'none found' does not reassure."]


def _urgency(made: Feedback) -> list[str]:
    rules, own = made.urgency.level, made.answer.urgency
    reasons = [r for r in made.urgency.reasons if r.urgency == rules]
    why = f": {reasons[0].text}" if reasons else ""
    said = f"Urgency: you say {WORDS[own]}; the rules say {WORDS[rules]}{why}."
    if made.under_called:
        word = (
            "an EMERGENCY NOT RECOGNISED" if made.emergency and own < EMERGENCY else "UNDER-CALLED"
        )
        return [said, f"That is {word}: less urgent than the rules call what this patient has."]
    if own == 0 and made.path.calms_nobody:
        return [said, "It is not called right, since so little was looked for."]
    if own > rules:
        return [said, "That is more urgent than the rules call it, and misses nothing."]
    return [said, "The emergency was recognised." if made.emergency else "The same as the rules."]


def _action(made: Feedback) -> list[str]:
    own = actions()[made.answer.action].words
    if made.action_right:
        return [f"First: {own}: right."]
    fit = "; or ".join(actions()[name].words for name in made.first.fit)
    if made.action_right is False:
        return [f"First: {own}: NOT right. For what it was: {fit}."]
    if calms(made.answer.action) and made.path.calms_nobody:
        return [f"First: {own}: not scored, since so little was looked for."]
    if not fit:
        return [f"First: {own}: not scored. Nothing sound can be said of it here."]
    return [
        f"First: {own}: not scored. The rules, which know no place, would do it; for what it was: {fit}."
    ]


def _when(made: Feedback) -> list[str]:
    """Which finding decided, when it could have been known, and the time that was to be saved."""
    mine, own = made.path, made.best
    lines = []
    if (at := mine.decided) is not None:
        step = mine.steps[at - 1]
        lines.append(
            f"What decided: {step.text}, your test {at}: the right place rose"
            f" from {mine.chance_before(at):.0%} to {step.chance:.0%}."
        )
    else:
        lines.append("Nothing that you tested spoke for the right place.")
    if mine.known_seconds is None:
        lines.append(f"By your tests the right place never led with {best_row('known'):.0%}.")
    else:
        lines.append(
            f"It could be known after your test {mine.known} ({mine.known_chance:.0%}), at {mine.known_seconds} s."
        )
    if own.known_seconds is None:
        lines.append(f"The tool's own way did not make it known: {own.after:.0%} at its end.")
    else:
        lines.append(
            f"The tool's own way knew it after {counted(own.known or 0, 'test')} ({own.known_chance:.0%}),"
            f" at {own.known_seconds} s" + _saved(made)
        )
    return lines


def _saved(made: Feedback) -> str:
    saved = made.saved
    if saved is None:
        return "."
    if saved > 0:
        return f": {saved} s to be saved."
    return f": you were {-saved} s sooner." if saved < 0 else ": as soon as you."


def ways(made: Feedback) -> list[str]:
    """The learner's way beside the tool's own: each test, its seconds, and the chance of the right place after it."""
    mine, own = made.path, made.best
    lines = ["", f"{NOTICE}. The two ways: seconds, chance of the right place."]
    heads = (
        f"Yours: {counted(len(mine.steps), 'test')}, {mine.seconds} s",
        f"The tool's: {counted(len(own.steps), 'test')}, {own.seconds} s",
    )
    columns = [_way(path) for path in (mine, own)]
    lines.append(f"{heads[0]:{HALF}}  {heads[1]}".rstrip())
    lines += [
        f"{left:{HALF}}  {right}".rstrip() for left, right in zip_longest(*columns, fillvalue="")
    ]
    lines.append("The tool tests what it expects to tell most for each second; it does not know.")
    return lines


def _way(path: Path) -> list[str]:
    """The steps of a way in half a page; those that moved least are left out where there is no room for all."""
    moved = {n: abs(s.chance - path.chance_before(n)) for n, s in enumerate(path.steps, 1)}
    kept = sorted(moved, key=lambda n: (-moved[n], n))
    while len(lines := _lines(path, kept)) > ROWS:
        kept.pop()
    return lines


def _lines(path: Path, kept: Sequence[int]) -> list[str]:
    """Some of the steps in their order."""
    lines: list[str] = []
    for number in sorted(kept):
        step = path.steps[number - 1]
        tail = f"{step.seconds:4} s {step.chance:4.0%}"
        room = HALF - len(tail) - 4
        head = textwrap.wrap(step.text, room) or [""]
        lines += [f"{number:2}. {head[0]:{room}}{tail}", *(f"    {more}" for more in head[1:])]
    if left := len(path.steps) - len(kept):
        lines.append(f"    and {left} that moved it less")
    return lines


def _share(count: int, of: int) -> str:
    return f"{count} of {of}" + (f" ({count / of:.0%})" if of else "")


def _scored(verdicts: Sequence[bool | None]) -> str:
    """How many were right of those that were scored."""
    scored = [v for v in verdicts if v is not None]
    return _share(sum(scored), len(scored))


def progress(found: Sequence[Result], left: int = 0) -> list[str]:
    """What the results come to, with how many each figure rests on."""
    lines = ["", f"{NOTICE}. Your progress; it stays in your own folder."]
    if not found:
        return [*lines, "No case was answered yet."]
    first = first_times(found)
    again = len(found) - len(first)
    lines.append(
        f"Answered: {counted(len(first), 'case')}"
        + (f", {again} more answered again and not counted" if again else "")
        + "."
    )
    if left:
        lines.append(f"Left out, since this program cannot read them: {left}.")
    lines += [
        f"Place right {_share(sum(r.site_right for r in first), len(first))},"
        f" side {_scored([r.side_scored for r in first])},"
        f" first action {_scored([r.action_right for r in first])}.",
        *_by_level(first),
        *_emergencies(first),
        *_time(first),
        *_certainty(first),
        SHORT,
    ]
    return lines


def _by_level(first: Sequence[Result]) -> list[str]:
    made = []
    for level in (*levels(), 0):
        own = [r for r in first if r.level == level]
        if own:
            name = levels()[level].name if level else "published"
            made.append(f"{name} {_share(sum(r.right for r in own), len(own))}")
    return [f"Place and side right: {', '.join(made)}."]


def _emergencies(first: Sequence[Result]) -> list[str]:
    own = [r for r in first if r.emergency]
    seen = sum(r.urgency >= EMERGENCY for r in own)
    under = sum(r.under_called for r in first)
    lines = [f"Emergencies recognised {_share(seen, len(own))}; {len(own) - seen} missed."]
    over = sum(r.urgency > r.due for r in first)
    return [*lines, f"Under-called {_share(under, len(first))}, over-called {_share(over, len(first))}."]  # fmt: skip


def _time(first: Sequence[Result]) -> list[str]:
    pairs = [
        (r.known_seconds, r.best_seconds)
        for r in first
        if r.known_seconds is not None and r.best_seconds is not None
    ]
    if not pairs:
        return []
    mine, own = (round(sum(p[n] for p in pairs) / len(pairs)) for n in (0, 1))
    return [f"Known after {mine} s on average, the tool's own way {own} s ({counted(len(pairs), 'case')})."]  # fmt: skip


def _certainty(first: Sequence[Result]) -> list[str]:
    lines = ["How sure you were, and how often place and side were right:"]
    for row in reliability(first):
        said = f"  {row.least:3} to {row.most:3}%: "
        if row.stated is None or row.right is None:
            said += "no case"
        else:
            said += f"said {row.stated:.0%}, right {row.right:.0%} of {counted(row.count, 'case')}"
            said += "; too few to tell" if row.count < SMALL else ""
        lines.append(said)
    score = brier(first)
    few = "; too few to tell" if len(first) < FEW else ""
    lines.append(
        f"Brier score {score:.2f} of {counted(len(first), 'case')}{few}; 0 is best, always 50% gives 0.25."
    )
    return lines


def known_places(made: dict[str, str]) -> str:
    """Every place that may be answered, in one paragraph."""
    return "; ".join(name.partition(",")[0] for name in made.values()) + "."
