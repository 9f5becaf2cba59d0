"""What still stands from earlier in a stay: findings not examined again, flags not asked again.

Blank never means normal: a sign that was found and is not looked at again is not gone.
"""

from collections.abc import Iterable
from typing import TypeVar

from wardexam.exam.examination import Context, Examination, Findings

Told = TypeVar("Told", bound=Findings)  # findings alone, or the examination they were found in


def _context(earlier: Context, later: Context) -> Context:
    """The later context, with what it leaves unknown from the earlier."""
    known = {k: v for k, v in later.model_dump().items() if v not in (None, "unknown")}
    return Context.model_validate({**earlier.model_dump(), **known})


def _kept(earlier: Findings, later: Findings) -> dict[str, object]:
    """What was done and since when each reason stands.

    What was kept with the later examination leaves nothing to look for before it.
    """
    if isinstance(later, Examination) and later.raised is not None:
        return {}
    acts = {a.same: a for a in (*earlier.acts, *later.acts)}
    before = {"raised": earlier.raised} if isinstance(earlier, Examination) else {}
    return {"acts": tuple(acts.values()), **(before if isinstance(later, Examination) else {})}


def over(earlier: Findings, later: Told) -> Told:
    """The later examination, with what stands from the earlier one where it says nothing.

    A sign found not testable leaves what was found before; a statement that the rest was normal does not.
    """
    answered = {f.key for f in later.findings if f.answer is not None}
    kept = [
        f
        for f in earlier.findings
        if f.answer is not None and f.key not in answered and not later.stated_normal(*f.key)
    ]
    still = {f.key for f in kept}
    stated = {(s.part, s.limb) for s in later.rest_normal}
    findings = (*kept, *(f for f in later.findings if f.key not in still))
    return later.model_copy(
        update={
            "findings": findings,
            "flags": {**earlier.flags, **later.flags},
            **_kept(earlier, later),
            "context": _context(earlier.context, later.context),
            "rest_normal": (
                *(s for s in earlier.rest_normal if (s.part, s.limb) not in stated),
                *later.rest_normal,
            ),
        }
    )


ACUTE = ("sudden", "waking", "hours", "unknown", "days", "weeks", "longer")


def _relieving(earlier: Findings, later: Findings) -> set[tuple[str, str]]:
    """Signs found as usual only now, in a limb where something odd was found and is not examined again.

    A full movement may show that a weakness is of one nerve; of a weakness looked at again only.
    """
    again = {f.key for f in later.findings if f.answer is not None}
    open_places = {
        (f.row.limb, f.side)
        for f in earlier.findings
        if f.answer is not None and f.key not in again and not (f.choice and f.choice.usual)
    }
    before = {f.key for f in earlier.findings}
    return {
        f.key
        for f in later.findings
        if f.choice
        and f.choice.usual
        and f.key not in before
        and (f.row.limb, f.side) in open_places
    }


def unrelieved(earlier: Told, later: Told) -> tuple[Told, Told]:
    """What urgency hears of both, with the later story and with the earlier one.

    As `over`, but that no statement, no other complaint, no lapse of time and no other sign that is normal
    relieves anything: a finding stands until its own sign is examined again, whatever was said or found of
    the rest, and of two onsets the more acute one stands.
    """
    relieving = _relieving(earlier, later)
    findings = tuple(f for f in later.findings if f.key not in relieving)
    both = over(earlier, later.model_copy(update={"rest_normal": (), "findings": findings}))
    told = [c.onset for c in (earlier.context, later.context)][
        : 1 + (later.context.onset != "unknown")
    ]
    onset = min(told, key=ACUTE.index)
    stories = (both.context, _context(later.context, earlier.context))
    first, second = (
        both.model_copy(update={"context": story.model_copy(update={"onset": onset})})
        for story in stories
    )
    return first, second


def standing(examinations: Iterable[Told]) -> Told | None:
    """All that stands of a stay's examinations, in the order saved, as one; None without any.

    The clock is not asked: it may have been wrong, and what was found later must never be hidden by it.
    """
    stands = None
    for examination in examinations:
        stands = over(stands, examination) if stands else examination
    return stands
