"""What still stands from earlier in a stay: findings not examined again, flags not asked again.

Blank never means normal: a sign that was found and is not looked at again is not gone.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TypeVar

from wardexam.exam.examination import Context, Examination, Findings, Onset

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


@dataclass(frozen=True, slots=True)
class Open:
    """What urgency still hears of a stay: nothing but its own sign or question, looked at again, ends anything.

    Attributes:
        found: Findings and flags that no later examination found or asked again, with no statements.
        stories: What was told in the stay, each told differently once, the last told last.
        onset: The most acute onset told; ``unknown`` where none was.
    """

    found: Findings
    stories: tuple[Context, ...]
    onset: Onset

    def looked_at_again(self, later: Findings) -> bool:
        """Whether a later examination answers any sign that is odd, or asks any question that was answered yes."""
        odd = {f.key for f in self.found.findings if f.answer and not (f.choice and f.choice.usual)}
        yes = {name for name, answer in self.found.flags.items() if answer == "yes"}
        answered = {f.key for f in later.findings if f.answer is not None}
        return not (odd.isdisjoint(answered) and yes.isdisjoint(later.flags))

    @property
    def alone(self) -> tuple[Findings, ...]:
        """What was open before a later examination, with each story."""
        return tuple(_with(self.found, story, self.onset) for story in self.stories)


def _with(found: Told, story: Context, onset: Onset) -> Told:
    return found.model_copy(update={"context": story.model_copy(update={"onset": onset})})


def _acute(onsets: Iterable[Onset]) -> Onset:
    """The most acute of some onsets; where the last is not known it adds none."""
    return min(onsets, key=ACUTE.index, default="unknown")


def _joined(earlier: Findings, later: Told) -> Told:
    """A later examination over what was open before it: no statement and no other normal sign relieves."""
    relieving = _relieving(earlier, later)
    findings = tuple(f for f in later.findings if f.key not in relieving)
    return over(earlier, later.model_copy(update={"rest_normal": (), "findings": findings}))


def still_open(examinations: Iterable[Findings]) -> Open | None:
    """What is open of a stay's examinations, in the order saved; None without any."""
    found: Findings | None = None
    stories: list[Context] = []
    for examination in examinations:
        bare = examination.model_copy(update={"rest_normal": ()})
        found = over(found, bare) if found else bare
        told = examination.context
        stories = [*(s for s in stories if not _same_story(s, told)), told]
    if found is None:
        return None
    told_onsets = [s.onset for s in stories if s.onset != "unknown"]
    onset = _acute(told_onsets) if told_onsets else "unknown"
    return Open(found, tuple(stories), onset)


def _same_story(one: Context, other: Context) -> bool:
    return one.model_copy(update={"age": other.age, "sex": other.sex}) == other


def unrelieved(still: Open, later: Told) -> tuple[Told, ...]:
    """What urgency hears of a stay and a later examination: with the later story, and with each earlier one.

    As `over`, but that no statement, no other complaint, no lapse of time and no other sign that is normal
    relieves anything: a finding stands until its own sign is examined again, whatever was said or found of
    the rest, and of two onsets the more acute one stands.
    """
    both = _joined(still.found, later)
    told = later.context.onset
    onset = _acute((still.onset, told) if told != "unknown" else (still.onset,))
    last = _context(still.stories[-1], later.context)
    stories = dict.fromkeys((last, *(_context(later.context, s) for s in still.stories)))
    return tuple(_with(both, story, onset) for story in stories)


def standing(examinations: Iterable[Told]) -> Told | None:
    """All that stands of a stay's examinations, in the order saved, as one; None without any.

    The clock is not asked: it may have been wrong, and what was found later must never be hidden by it.
    """
    stands = None
    for examination in examinations:
        stands = over(stands, examination) if stands else examination
    return stands
