"""What was done about a reason of urgency: what an act was written over, and whether it holds still.

What ends a clock or brings a level down holds while nothing is found beyond what it was written over: no
further abnormal finding, graver answer, "yes" or complaint, no more acute onset.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from wardexam.exam.acts import Act, Raised
from wardexam.exam.examination import Context, Examination, Findings
from wardexam.exam.flags import every_flag
from wardexam.exam.onset import slowness
from wardexam.exam.story import Asked, question
from wardexam.exam.wording import finding_text
from wardexam.reasoning.rules.graver import graver

NAMED = 2  # of what was found beyond, so much is named
LONGEST = 120

Seen = dict[tuple[str, str], tuple[str, int | None]]


def graver_told(context: Context) -> Iterator[tuple[Asked, str]]:
    """What the story says that may be graver than silence."""
    if context.complaint:
        yield "complaint", context.complaint
    if context.complaint_side not in (None, "none"):
        yield "complaint_side", str(context.complaint_side)
    if context.pain not in (None, "none"):
        yield "pain", str(context.pain)
    if context.bears_weight == "no":
        yield "bears_weight", "no"
    if context.trauma == "yes":
        yield "trauma", "yes"
    if context.setting not in (None, "none"):
        yield "setting", str(context.setting)


def written_over(found: Findings) -> tuple[str, ...]:
    """What is abnormal, answered yes and told: what an act is written over.

    A line each: ``"knee left absent"`` (a tendon reflex by its meaning; with the number where it has one),
    ``"flag saddle_numb"``, ``"story onset hours"``.
    """
    lines = [
        f"{f.sign} {f.side} {f.meaning}" + ("" if f.amount is None else f" {f.amount}")
        for f in found.findings
        if f.abnormal
    ]
    lines += [f"flag {name}" for name, answer in found.flags.items() if answer == "yes"]
    lines += [f"story {name} {value}" for name, value in graver_told(found.context)]
    return (*lines, f"story onset {found.context.onset}")


def beyond(on: Iterable[str], found: Findings) -> list[str]:
    """What is found that goes beyond what an act was written over, in words."""
    seen: Seen = {}
    flags, story = set(), set()
    for line in on:
        first, *words = line.split() or [""]
        if first == "flag":
            flags.update(words)
        elif first == "story":
            story.add(tuple(words))
        elif len(words) > 1:
            number = words[2] if len(words) > 2 else ""
            seen[first, words[0]] = words[1], int(number) if number.isdecimal() else None
    said = [
        finding_text(f)
        for f in found.findings
        if f.abnormal and (f.key not in seen or graver(f, *seen[f.key]))
    ]
    said += [
        f"{every_flag()[name].short}: yes"
        for name, answer in found.flags.items()
        if answer == "yes" and name not in flags
    ]
    said += [
        f"{question(name).name}: {question(name).words(value)}"
        for name, value in graver_told(found.context)
        if (name, value) not in story
    ]
    asked = question("onset")
    onset = next((words[1] for words in story if words[0] == "onset" and len(words) > 1), "longer")
    if onset not in asked.most_acute_first or slowness(found.context.onset) < slowness(onset):
        said.append(f"{asked.name}: {asked.words(found.context.onset)}")
    return said


def kept(found: Findings) -> Mapping[str, Raised]:
    """What was kept of the reasons when it was saved, by rule."""
    raised = found.raised if isinstance(found, Examination) else None
    return {r.rule: r for r in raised or ()}


def acts_of(*stays: Findings | None) -> list[Act]:
    """Every act of what stands and of an examination, each once, in order; a later word of it counts."""
    acts: dict[tuple[str, ...], Act] = {}
    for found in stays:
        if found:
            for act in (*(a for r in kept(found).values() for a in r.acts), *found.acts):
                acts[act.same] = act
    return list(acts.values())


@dataclass(frozen=True, slots=True)
class Answer:
    """What was done about one reason.

    Attributes:
        acts: All of it, in order; what does not hold any more says what ended it.
        open: From which of them on it counts: those before are of an earlier round.
        settled: The act that ended the clock last; None while it runs.
        lowered: The act that brings the level down; None where none does.
        ended: What was found beyond the last round that was settled, in words; empty where nothing was.
        anew: Whether the round was ended by what this examination found.
    """

    acts: tuple[Act, ...] = ()
    open: int = 0
    settled: Act | None = None
    lowered: Act | None = None
    ended: str = ""
    anew: bool = False

    @property
    def answered(self) -> bool:
        """Whether anything was done that counts now: the alarm is not new."""
        return len(self.acts) > self.open


def _in_short(said: list[str]) -> str:
    more = f" and {len(said) - NAMED} more" if len(said) > NAMED else ""
    return (", ".join(said[:NAMED]) + more)[:LONGEST]


def answer(
    rule: str, acts: Iterable[Act], own: Iterable[Act], found: Findings, worse: str, *, lowers: bool
) -> Answer:
    """What was done about a reason, and what of it holds.

    Args:
        rule: The reason's rule.
        acts: Every act of the stay, in order.
        own: The acts of the examination itself.
        found: All that stands and was found.
        worse: What is said to be worse, in words; empty where nothing is.
        lowers: Whether the rule's row says that something brings it down.
    """
    mine = [a for a in acts if a.rule == rule]
    if not mine:
        return Answer()
    here = {a.same for a in own}
    # An act that was written over nothing in particular counts in its own examination alone.
    counts = [not a.settles or a.on is not None or a.same in here for a in mine]
    start, ended, anew = 0, "", False
    for place, act in enumerate(mine):
        said = act.ended
        if not said and act.settles and counts[place]:
            more = beyond(act.on, found) if act.on is not None else []
            if act.kind == "lowered" and worse:
                more = more or [worse]
            said = _in_short(more)
            anew = anew or bool(said)
        if said:
            start, ended = place + 1, said
    marked = [
        a if n >= start or a.ended else a.model_copy(update={"ended": ended})
        for n, a in enumerate(mine)
    ]
    holding = [a for a, c in zip(mine[start:], counts[start:], strict=True) if c]
    settled = next((a for a in reversed(holding) if a.settles), None)
    down = next((a for a in reversed(holding) if a.kind == "lowered" and lowers), None)
    past = [
        *marked[:start],
        *(a for a, c in zip(mine[start:], counts[start:], strict=True) if not c),
    ]
    return Answer((*past, *holding), len(past), settled, down, ended, anew)
