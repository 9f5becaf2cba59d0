"""What is weak, what is lost, and whether one nerve or root gives all of it: table `confined` of `conditions.toml`."""

from collections.abc import Iterable, Sequence
from functools import cache
from itertools import pairwise

from wardexam.anatomy.catalogue import SEGMENTS, catalogue
from wardexam.exam.answers import answers_for
from wardexam.exam.examination import Context
from wardexam.exam.findings import Finding
from wardexam.reasoning.tables import conditions_row
from wardexam.tables import all_known

_BOTH = {"right", "left"}


def weak(finding: Finding) -> bool:
    """Whether a movement was graded less than full, in a limb or the face."""
    return finding.answer is not None and _weak(finding.sign, finding.answer)


@cache  # there are only so many signs and answers
def _weak(sign: str, answer: str) -> bool:
    row = conditions_row("weak")
    return (
        catalogue()[sign].answers == row["kind"]
        and answer not in row["full"]
        and sign not in row["but"]
    )


def grade(answer: str) -> int:
    """Where an MRC grade stands among all, the weakest first."""
    return answers_for(conditions_row("weak")["kind"]).codes.index(answer)


@cache
def suppliers() -> dict[str, frozenset[str]]:
    """The nerves and roots that each sign may fail by alone."""
    row = conditions_row("confined")
    least, family = row["share"], row["family"]
    made = {}
    for sign in catalogue().values():
        nerves = set(family.get(sign.nerve, [sign.nerve])) if sign.nerve else set()
        roots = {segment for segment, share in sign.segments.items() if share >= least}
        made[sign.id] = frozenset(nerves | roots)
    return made


def lost(finding: Finding) -> bool:
    """Whether a finding is a loss that a nerve or root may give: power, sensation, a tendon reflex."""
    if finding.answer is None:
        return False
    if finding.scale:
        return finding.meaning in conditions_row("confined")["reflex"]
    return _lost(finding.sign, finding.answer)


@cache  # there are only so many signs and answers
def _lost(sign: str, answer: str) -> bool:
    row, kind = conditions_row("confined"), catalogue()[sign].answers
    return _weak(sign, answer) or (kind in row["kind"] and answer in row["answers"])


@cache
def _above() -> dict[str, frozenset[str]]:
    """The signs that speak of a lesion above the roots, each with the answers to it that do not.

    Raises:
        TableError: One is no sign, or no answer to it.
    """
    row, where = conditions_row("confined"), "conditions.toml, confined"
    all_known((*row["above"], *row["mute"]), catalogue(), where)
    for sign, mute in row["mute"].items():
        all_known(mute, answers_for(catalogue()[sign].answers).codes, f"{where}, mute, {sign}")
    return {sign: frozenset(row["mute"].get(sign, ())) for sign in row["above"]}


def above(finding: Finding) -> bool:
    """Whether a finding speaks of a lesion above the roots: out of the usual where only such a lesion makes it so."""
    mute = _above().get(finding.sign)
    return mute is not None and finding.abnormal and finding.answer not in mute


def _common(losses: Iterable[Finding]) -> frozenset[str]:
    """The nerves and roots that give every one of some losses, of which there are some."""
    return frozenset.intersection(*(suppliers()[f.sign] for f in losses))


def unconfined(findings: Sequence[Finding], story: Context) -> bool:
    """Whether there is weakness that is not shown to be of one nerve or root.

    It is shown where every loss lies in one limb and one nerve or root gives them all, while movements
    outside of it in the same limb were each recorded as full, and nothing speaks of a lesion above. Two
    neighbouring roots of a leg are as one where it did not begin at once, with as many movements more
    recorded as full. A further loss, or a movement that is not full after all, ends that; a blank shows
    nothing. Weakness that is told counts as long as no movement of that limb is recorded as full.
    """
    row = conditions_row("confined")
    if _told_of_a_limb(findings, story):
        return True
    losses = [f for f in findings if lost(f)]
    if not any(weak(f) for f in losses):
        return False
    if len({(f.row.limb, f.side) for f in losses}) > 1:
        return True
    limb, side = losses[0].row.limb, losses[0].side
    if limb not in row["limb"] or any(map(above, findings)):
        return True
    full = [
        f
        for f in findings
        if f.answer is not None
        and (f.row.limb, f.side) == (limb, side)
        and f.row.answers == conditions_row("weak")["kind"]
        and not weak(f)
    ]
    given = [frozenset({supplier}) for supplier in _common(losses)]
    if limb in row["neighbours"] and story.onset in row["neighbours_onset"]:
        given += [two for two in _neighbours() if all(two & suppliers()[f.sign] for f in losses)]
    return not any(
        sum(some.isdisjoint(suppliers()[f.sign]) for f in full) >= row["shown_by"] * len(some)
        for some in given
    )


@cache
def _neighbours() -> tuple[frozenset[str], ...]:
    """Every two roots that follow each other."""
    return tuple(map(frozenset, pairwise(SEGMENTS)))


def _told_of_a_limb(findings: Iterable[Finding], story: Context) -> bool:
    """Whether a weak limb is the complaint and its power not shown: of either side where none is told."""
    limb = conditions_row("confined")["told"].get(story.complaint)
    if limb is None:
        return False
    sides = {story.complaint_side} if story.complaint_side in _BOTH else _BOTH
    full = {
        f.side
        for f in findings
        if f.row.limb == limb
        and f.row.answers == conditions_row("weak")["kind"]
        and f.answer in conditions_row("weak")["full"]
    }
    return not sides <= full


def numb_beyond(findings: Iterable[Finding]) -> bool:
    """Whether sensation is lost in more than one nerve or root of one limb gives."""
    kind = conditions_row("confined")["kind"]
    numb = [f for f in findings if lost(f) and f.row.answers in kind]
    return bool(numb) and (len({(f.row.limb, f.side) for f in numb}) > 1 or not _common(numb))
