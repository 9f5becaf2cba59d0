"""Since when each sign changed: since the examination that saw it last, with who examined then."""

from collections.abc import Sequence
from datetime import timedelta

from wardexam.exam.examination import Examination
from wardexam.exam.moments import moment
from wardexam.exam.text import clean
from wardexam.note.sentences import changes_of
from wardexam.reasoning.rules.change import Comparison, SignChange
from wardexam.reasoning.rules.stay import Stay, seen_last
from wardexam.reasoning.tables import change_row


def since_words(earlier: Examination, examination: Examination) -> str:
    """When and by whom it was examined before, and that it may be the observer where that was another, just before."""
    when, who = moment(earlier.at, examination.at), clean(earlier.examiner).strip()
    row = change_row("observers")
    soon = timedelta() <= examination.at - earlier.at < timedelta(minutes=row["minutes"])
    other = soon and who and who != clean(examination.examiner).strip()
    beside = ", ".join(filter(None, (who, row["words"] if other else "")))
    return f"{when} ({beside})" if beside else when


def by_examination(
    signs: Sequence[SignChange], stay: Stay | None, previous: Examination
) -> list[tuple[Examination, list[SignChange]]]:
    """Signs that changed, by the examination that saw each of them last, in their order."""
    found: dict[str, tuple[Examination, list[SignChange]]] = {}
    for sign in signs:
        earlier = seen_last(sign, stay, previous)
        found.setdefault(earlier.id, (earlier, []))[1].append(sign)
    return list(found.values())


def headline_since(
    change: Comparison, stay: Stay | None, previous: Examination, examination: Examination
) -> str:
    """Since when a headline says it: the change that it names first, by that sign's own last examination."""
    if change.signs:
        return f"since {since_words(seen_last(change.gravest[0], stay, previous), examination)}"
    answered = [f.key for f in examination.findings if f.answer is not None]
    seen = [e for key in answered if stay and (e := stay.last(key))]
    times = sorted(e.at for e in seen) or [previous.at]
    if times[0] == times[-1]:
        return f"since {since_words(seen[0] if seen else previous, examination)}"
    first, last = (moment(at, examination.at) for at in (times[0], times[-1]))
    return f"since each was seen last, {first} to {last}"


def changes_since(
    change: Comparison, stay: Stay | None, previous: Examination, examination: Examination
) -> str:
    """Every sign that changed, the gravest first; each with since when where that is not the same for all."""
    parts = by_examination(change.gravest, stay, previous)
    if len(parts) < 2:
        return "; ".join(changes_of(signs) for _, signs in parts)
    return ". ".join(
        f"{'Since' if n else 'since'} {moment(earlier.at, examination.at)}: {changes_of(signs)}"
        for n, (earlier, signs) in enumerate(parts)
    )
