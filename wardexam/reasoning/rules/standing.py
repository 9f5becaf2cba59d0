"""What still stands from earlier in a stay: findings not examined again, flags not asked again.

Blank never means normal: a sign that was found and is not looked at again is not gone.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import chain
from typing import TypeVar

from wardexam.exam.earlier import Earlier
from wardexam.exam.examination import Context, Examination, Findings, Onset
from wardexam.exam.findings import Side
from wardexam.exam.flags import answers_over
from wardexam.exam.onset import slowness
from wardexam.reasoning.rules.acts import beyond, graver_told, written_over
from wardexam.reasoning.rules.graver import graver
from wardexam.reasoning.tables import conditions_row

Told = TypeVar("Told", bound=Findings)  # findings alone, or the examination they were found in


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
            "flags": answers_over(earlier.flags, later.flags),
            **_kept(earlier, later),
            "context": later.context.over(earlier.context),
            "rest_normal": (
                *(s for s in earlier.rest_normal if (s.part, s.limb) not in stated),
                *later.rest_normal,
            ),
        }
    )


def _relieving(earlier: Findings, later: Findings) -> set[tuple[str, str]]:
    """Signs found as usual only now, in a limb where something odd was found and is not examined again.

    A full movement may show that a weakness is of one nerve; of a weakness looked at again only.
    """
    again = {f.key for f in later.findings if f.answer is not None}
    open_places = {
        (f.row.limb, f.side) for f in earlier.findings if f.abnormal and f.key not in again
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


def _telling(found: Told) -> Told:
    """The same without answers that say nothing, such as a catheter: what was found before stands."""
    return found.model_copy(
        update={"findings": tuple(f for f in found.findings if f.choice is None or f.choice.tells)}
    )


@dataclass(frozen=True, slots=True)
class Open:
    """What urgency still hears of a stay: nothing but its own sign or question, looked at again, ends anything.

    Attributes:
        found: Findings and flags that no later examination found or asked again, with no statements.
        stories: What was told in the stay, each told differently once, the last told last.
        onset: The most acute onset told; ``unknown`` where none was.
        undated: What of it was found or asked last when no onset was told, as it was not when one was told last.
        dated: What was found and asked when an onset was told, the last of each.
    """

    found: Findings
    stories: tuple[Context, ...]
    onset: Onset
    undated: Findings
    dated: Findings

    def looked_at_again(self, later: Findings) -> bool:
        """Whether a later examination answers any sign that is odd, or asks any question that was answered yes."""
        odd, yes = _odd(self.found)
        answered = {f.key for f in _telling(later).findings if f.answer is not None}
        return not (odd.isdisjoint(answered) and yes.isdisjoint(later.flags))

    @property
    def alone(self) -> tuple[Findings, ...]:
        """What was open before a later examination, with each story."""
        return _heard(self.found, self.stories, self.onset, self.undated, _untold(self.stories))


def _odd(found: Findings) -> tuple[set[tuple[str, Side]], set[str]]:
    """The signs that are out of the usual, and the questions answered yes."""
    odd = {f.key for f in found.findings if f.abnormal}
    return odd, {name for name, answer in found.flags.items() if answer == "yes"}


def _untold(stories: Sequence[Context]) -> list[Context]:
    """The complaints of which neither then nor later was told when they began; what began with another dates none."""
    return [
        story
        for n, story in enumerate(stories)
        if story.onset == "unknown"
        and story != Context(age=story.age, sex=story.sex)
        and not any(
            later.onset != "unknown" and later.complaint in (None, story.complaint)
            for later in stories[n + 1 :]
        )
    ]


def _heard(
    found: Told,
    stories: Sequence[Context],
    onset: Onset,
    undated: Findings,
    untold: Sequence[Context],
) -> tuple[Told, ...]:
    """What was found with each story and the onset told; and with none, which counts as acute, what is not dated."""
    heard: list[tuple[Told, Context, Onset]] = [(found, story, onset) for story in stories]
    if slowness(onset) > slowness("unknown"):
        kept = {"findings": undated.findings, "flags": undated.flags, "rest_normal": ()}
        alone = found.model_copy(update=kept)
        heard += [(alone, s, "unknown") for s in (stories if any(_odd(undated)) else untold)]
    return tuple(
        part.model_copy(update={"context": story.model_copy(update={"onset": since})})
        for part, story, since in heard
    )


def _acute(onsets: Iterable[Onset]) -> Onset:
    """The most acute of the onsets that are known; ``unknown`` where none is."""
    return min((o for o in onsets if o != "unknown"), key=slowness, default="unknown")


def _without(earlier: Findings, later: Findings) -> Findings:
    """What a later examination neither examined nor asked again."""
    again = {f.key for f in later.findings if f.answer is not None}
    return Findings(
        findings=tuple(f for f in earlier.findings if f.key not in again),
        flags={name: a for name, a in earlier.flags.items() if name not in later.flags},
    )


def _joined(earlier: Findings, later: Told) -> Told:
    """A later examination over what was open before it: no statement and no other normal sign relieves."""
    relieving = _relieving(earlier, later)
    findings = tuple(f for f in later.findings if f.key not in relieving)
    return over(earlier, later.model_copy(update={"rest_normal": (), "findings": findings}))


def dated(before: Findings, later: Told, still: Open) -> Told:
    """A later examination with the onset that was told earlier in the stay, where nothing of it goes beyond what was found and told since.

    Some signs date nothing but themselves (table `dated`).

    Args:
        before: What stands from before.
        later: The examination; one that was told an onset of its own stays as it is.
        still: What is open: what was found, asked and told when no onset was stays undated, and so does all that is
            examined with it.
    """
    if later.context.onset != "unknown" or still.onset == "unknown":
        return later
    story = later.context.model_copy(update={"onset": still.onset})
    dated_so = later.model_copy(update={"context": story})
    keys = {f.key for f in still.undated.findings}
    found = any(f.key in keys for f in later.findings if f.abnormal)
    asked = any(a == "yes" == still.undated.flags.get(name) for name, a in later.flags.items())
    words = {w for s in still.stories if s.onset == "unknown" for w in graver_told(s)}
    words -= {w for s in still.stories if s.onset != "unknown" for w in graver_told(s)}
    told = not words.isdisjoint(graver_told(later.context))
    if found or asked or told or beyond(written_over(before), _dating(dated_so)):
        return later
    return dated_so


def told_apart(
    before: Findings, later: Findings, still: Open
) -> tuple[list[Findings], list[Findings]] | None:
    """What stands with the onset that was told of it, and what may be new, each as if no onset were known.

    New is all that was found in a limb of a side in which anything goes beyond what stood or was found undated; nothing
    is apart where this examination tells an onset or none was told before.

    Args:
        before: What stands from before.
        later: The examination.
        still: What is open.
    """
    if later.context.onset != "unknown" or still.onset == "unknown":
        return None
    keys = {f.key for f in chain(_beyond(later, before).findings, still.undated.findings)}
    both = _joined(still.undated, later)
    places = {(f.row.limb, f.side) for f in both.findings if f.abnormal and f.key in keys}
    new = both.model_copy(
        update={"findings": tuple(f for f in both.findings if (f.row.limb, f.side) in places)}
    )
    odd, _ = _odd(still.found)
    old = Findings(
        findings=tuple(f for f in still.dated.findings if f.key in odd), flags=still.dated.flags
    )
    stories = (later.context, *(s.over(later.context) for s in still.stories))
    return _undated(old, [s for s in still.stories if s.onset != "unknown"]), _undated(new, stories)


def _undated(found: Findings, stories: Iterable[Context]) -> list[Findings]:
    """The same with each story, as if it were not known when it began."""
    untold = (s.model_copy(update={"onset": "unknown"}) for s in stories)
    return [found.model_copy(update={"context": s}) for s in untold]


def _dating(told: Findings) -> Findings:
    """The same without the signs that date nothing but themselves."""
    row = conditions_row("dated")
    if told.context.onset not in row["onset"]:
        return told
    left = tuple(
        f
        for f in told.findings
        if f.row.answers not in row["kind"]
        and f.row.limb not in row["limb"]
        and f.sign not in row["sign"]
    )
    return told.model_copy(update={"findings": left})


def still_open(examinations: Iterable[Findings]) -> Open | None:
    """What is open of a stay's examinations, in the order saved; None without any."""
    found: Findings | None = None
    undated, as_dated = Findings(), Findings()
    stories: list[Context] = []
    for examination in examinations:
        bare = _telling(examination.model_copy(update={"rest_normal": ()}))
        found = over(found, bare) if found else bare
        told = examination.context
        undated = _without(undated, bare)
        if told.onset == "unknown":
            undated = over(undated, _beyond(bare, as_dated))
        else:
            as_dated = over(as_dated, bare)
        stories = [*(s for s in stories if not _same_story(s, told)), told]
    if found is None:
        return None
    return Open(found, tuple(stories), _acute(s.onset for s in stories), undated, as_dated)


def _beyond(later: Findings, as_dated: Findings) -> Findings:
    """What was found and asked when no onset was told, but what is no graver than when one was told last: that is of the same onset."""
    was = {f.key: f for f in as_dated.findings if f.answer is not None}
    return Findings(
        findings=tuple(
            f
            for f in later.findings
            if f.answer is not None
            and (f.key not in was or graver(f, was[f.key].meaning, was[f.key].amount))
        ),
        flags={n: said for n, said in later.flags.items() if as_dated.flags.get(n) != said},
    )


def _same_story(one: Context, other: Context) -> bool:
    return one.model_copy(update={"age": other.age, "sex": other.sex}) == other


def unrelieved(still: Open, later: Told) -> tuple[Told, ...]:
    """What urgency hears of a stay and a later examination: with the later story, and with each earlier one.

    As `over`, but that no statement, no other complaint, no lapse of time and no other sign that is normal
    relieves anything: a finding stands until its own sign is examined again, whatever was said or found of
    the rest, of two onsets the more acute one stands, and one told later dates no sign that is not examined with it
    and no other complaint.
    """
    later = _telling(later)
    both = _joined(still.found, later)
    onset = _acute((still.onset, later.context.onset))
    last = later.context.over(still.stories[-1])
    stories = tuple(dict.fromkeys((last, *(s.over(later.context) for s in still.stories))))
    untold = [s.over(later.context) for s in _untold((*still.stories, later.context))]
    undated = _without(still.undated, later)
    if later.context.onset == "unknown" and any(_odd(undated)):
        undated = _joined(undated, later)
    return _heard(both, stories, onset, undated, untold)


def earlier(examinations: Iterable[Examination], now: datetime) -> Earlier | None:
    """What stands of a stay's examinations, in the order saved, each finding with when it was found; None without any.

    Args:
        examinations: Those before the one that is made now.
        now: When that is made.
    """
    stands, times = None, dict[tuple[str, Side], datetime]()
    for examination in examinations:
        stands = over(stands, examination) if stands else examination
        times |= {f.key: examination.at for f in examination.findings if f.answer is not None}
    if stands is None:
        return None
    found = tuple((f, times[f.key]) for f in stands.findings if f.answer is not None)
    return Earlier(found, stands.context, dict(stands.flags), now)


def standing(examinations: Iterable[Told]) -> Told | None:
    """All that stands of a stay's examinations, in the order saved, as one; None without any.

    The clock is not asked: it may have been wrong, and what was found later must never be hidden by it.
    """
    stands = None
    for examination in examinations:
        stands = over(stands, examination) if stands else examination
    return stands
