"""What was found as a doctor dictates it: abnormal, not testable, not examined, normal, changed.

Both sides of a sign stand in one sentence, signs that showed the same together; a sign in the midline is
never under a side. Every paper takes its findings from here, so that none says less than another.
"""

from collections.abc import Iterable

from wardexam.anatomy.catalogue import PARTS, Sign, catalogue, signs_of
from wardexam.exam.answers import ScaleName
from wardexam.exam.examination import Context, Examination, Findings
from wardexam.exam.findings import Finding, Side, sides_of
from wardexam.exam.flags import every_flag, flags, kept_yes
from wardexam.exam.naming import TOWARDS, before_sides, joined, names_of
from wardexam.exam.onset import onset_words
from wardexam.exam.row_sets import row_sets
from wardexam.exam.story import question
from wardexam.exam.story import story as story_questions
from wardexam.exam.text import capital, clean, counted
from wardexam.exam.wording import in_words, remarks
from wardexam.reasoning.rules.change import Comparison, SignChange
from wardexam.reasoning.rules.change_words import BOTH, how_of
from wardexam.reasoning.rules.sum_score import full_score, sum_score

PART_TITLES = {
    "reflexes": "Reflexes", "power": "Power (MRC)", "sensation": "Sensation", "movement": "Tone, coordination, gait",
    "sphincters": "Sphincters", "cranial": "Cortex, brainstem, cranial nerves", "provocation": "Stretch and provocation tests",
    "muscle": "Wasting, fasciculation, fatigability",
}  # fmt: skip
# Parts of which it matters in which limb they were examined, and what each limb is called there.
BY_LIMB = ("power", "sensation")
BY_SIGN = ("reflexes", "sphincters")  # parts of which each sign that matters is named
LIMBS = {"head": "head", "arm": "arm", "trunk": "trunk", "leg": "leg"}
UNSAID = "not examined"

Pair = tuple[Finding | None, ...]


def pair(found: Findings, sign: Sign) -> Pair:
    """The findings of a sign, right before left; None where it was not examined."""
    return tuple(found.finding(sign.id, side) for side in sides_of(sign))


def recorded(found: Findings) -> list[Sign]:
    """The signs that have a finding, in the order of the tables."""
    mine = {f.sign for f in found.findings}
    return [s for s in catalogue().values() if s.id in mine]


# --- one sign


def _said(finding: Finding, scale: ScaleName | None) -> str:
    """An answer with what belongs to it alone."""
    kept = [
        r for r in remarks(finding, scale)
        if not r.startswith("not testable:") and not (r.startswith("only with") and finding.meaning == "trace")
    ]  # fmt: skip
    return ", ".join((in_words(finding, scale), *kept))


def pair_words(
    found: Pair, scale: ScaleName | None = None, both: str = BOTH, unsaid: str = UNSAID
) -> str:
    """What a sign showed on its sides: ``absent (0) on both sides``, ``right 4, left 3``.

    Args:
        found: The findings.
        scale: On which scale, if not on their own.
        both: How it is said of both sides.
        unsaid: What is said of a side that has no finding.
    """
    if len(found) == 1:
        return _said(found[0], scale) if found[0] else UNSAID
    right, left = found
    if right and left:
        one, other = _said(right, scale), _said(left, scale)
        if one == other:
            return f"{one}{both}"
        if right.row.mrc and right.answer and left.answer:
            return f"right {one}, left {other}"
        return f"{one} on the right, {other} on the left"
    only = right or left
    if only is None:
        return UNSAID
    missing = "left" if right else "right"
    return f"{_said(only, scale)} on the {only.side}, {missing} {unsaid}"


def _towards(name: str, found: Pair, unsaid: str = UNSAID) -> str:
    """A sign whose sides are directions, as a sentence: ``gaze fails towards the right, not the left``.

    Of a side that was not graded it is said so, and of no side what was not found there.
    """
    there = {f.side: _said(f, None) for f in found if f}
    shown = [side for side in ("right", "left") if there.get(side) == "present"]
    if len(there) == len(found) and set(there.values()) <= {"present", "absent"}:
        if len(shown) == 1:
            other = "left" if shown == ["right"] else "right"
            return f"{name} the {shown[0]}, not the {other}"
        return f"{name} {'both sides' if shown else 'neither side'}"
    said = [f"towards the {side} {there.get(side, unsaid)}" for side in ("right", "left")]
    return f"{name.removesuffix(TOWARDS)}: {', '.join(said)}"


def _usual(finding: Finding | None) -> bool:
    return bool(finding and finding.choice and finding.choice.usual)


def _plain(finding: Finding | None) -> bool:
    """Whether there is nothing about a finding but its answer."""
    return finding is None or not (finding.known or finding.comment or finding.qualities)


def is_abnormal(found: Pair) -> bool:
    """Whether a sign is answered out of the usual on a side, or there is more to say of it than its answer."""
    return any(f.answer is not None and not (_usual(f) and _plain(f)) for f in found if f)


# --- all of them


def _sentences(
    signs: Iterable[Sign], found: Findings, scale: ScaleName | None, both: str = BOTH
) -> str:
    """Signs in sentences, those that showed the same together, in their order."""
    alike: dict[str, list[Sign]] = {}
    for sign in signs:
        mine, unsaid = pair(found, sign), UNSAID
        for side, finding in zip(sides_of(sign), mine, strict=True):
            if finding is None and found.stated_normal(sign.id, side):
                unsaid = "normal with the rest"
        if sign.name.endswith(TOWARDS):
            alike[_towards(sign.name, mine, unsaid)] = []
        else:
            alike.setdefault(pair_words(mine, scale, both, unsaid), []).append(sign)
    return "; ".join(f"{names_of(those)} {words}".strip() for words, those in alike.items())


def _midline_last(signs: Iterable[Sign]) -> list[Sign]:
    return sorted(signs, key=lambda s: s.sides == "midline")


def abnormal(found: Findings, scale: ScaleName | None = None) -> list[tuple[str, str]]:
    """Each part's title with what was abnormal in it, the midline after the sides; only parts where something was."""
    said, seen = [], recorded(found)
    for part in PARTS:
        signs = _midline_last(s for s in seen if s.part == part and is_abnormal(pair(found, s)))
        if any(not s.measured for s in signs):
            score = sum_score(found) if part == "power" else None
            end = "" if score in (None, full_score()) else f"; {_score_words(score)}"
            said.append((PART_TITLES[part], f"{_sentences(signs, found, scale)}{end}."))
    return said


def _score_words(score: int | None) -> str:
    return f"MRC sum score {score}/{full_score()}"


def measured(found: Findings) -> str:
    """An amount that was measured where nothing else of its part was abnormal; empty where none was."""
    signs = [s for s in recorded(found) if s.measured]
    parts = {title for title, _ in abnormal(found)}
    alone = [s for s in signs if PART_TITLES[s.part] not in parts and is_abnormal(pair(found, s))]
    return _sentences(alone, found, None)


def not_testable(found: Findings, scale: ScaleName | None = None) -> str:
    """What could not be tested, with the reason; what is abnormal on the other side is said there."""
    signs = [
        s for s in recorded(found)
        if any(f and f.not_testable for f in pair(found, s)) and not is_abnormal(pair(found, s))
    ]  # fmt: skip
    return _sentences(signs, found, scale)


def normal(found: Findings, scale: ScaleName | None = None) -> str:
    """What was as usual, on both sides where no side is named."""
    signs = [
        s for s in recorded(found)
        if any(map(_usual, pair(found, s))) and not is_abnormal(pair(found, s))
        and not any(f and f.not_testable for f in pair(found, s))
    ]  # fmt: skip
    full = _score_words(full_score()) if sum_score(found) == full_score() else ""
    return "; ".join(filter(None, (_sentences(signs, found, scale, both=""), full)))


def statements(found: Findings) -> list[str]:
    """The statements that the rest of a part was normal: as stated, with who and when."""
    said = []
    for s in found.rest_normal:
        by = f" (stated by {clean(s.by)}{f', {s.at:%H:%M}' if s.at else ''})" if s.by else ""
        said.append(f"{PART_TITLES[s.part]}, {s.limb}: rest examined, normal{by}.")
    return said


def _open(found: Findings, sign: Sign) -> list[Side]:
    """The sides on which a sign is neither recorded nor stated normal."""
    return [
        side for side in sides_of(sign)
        if found.finding(sign.id, side) is None and not found.stated_normal(sign.id, side)
    ]  # fmt: skip


def _touched(found: Findings, part: str) -> bool:
    return any(f.row.part == part for f in found.findings) or any(
        s.part == part for s in found.rest_normal
    )


def _as_a_whole(part: str) -> str:
    """A part in a sentence."""
    if part == "provocation":  # to stretch is to provoke
        return "provocation tests"
    return PART_TITLES[part].split(" (")[0].lower()


def _open_of(found: Findings, part: str, limb: str) -> list[tuple[Side, int, int]]:
    """Each side of a limb, with how many signs of a part are open there and how many there are."""
    sides: tuple[Side, ...] = ("right", "left", "midline")
    signs = {
        side: [s for s in signs_of(part) if s.limb == limb and side in sides_of(s)]
        for side in sides
    }
    return [
        (side, sum(side in _open(found, s) for s in mine), len(mine))
        for side, mine in signs.items()
        if mine
    ]


def _limbs_left(found: Findings, part: str) -> str:
    """In which limbs a part was not examined, where it was in others: ``power of the left arm, legs``."""
    left = []
    for limb, name in LIMBS.items():
        sides = [side for side, left, whole in _open_of(found, part, limb) if left == whole]
        if {"right", "left"} <= set(sides):
            left.append(f"{name}s" if limb in ("arm", "leg") else name)
        else:
            left += [f"{side} {name}" if limb in ("arm", "leg") else f"{name} on the {side}" for side in sides if side != "midline"]  # fmt: skip
    return f"{_as_a_whole(part)} of {joined(left)}" if left else ""


def _left(found: Findings, part: str) -> bool:
    """Whether a sign of a part that is not asked apart is open on a side."""
    return any(_open(found, s) for s in signs_of(part) if not s.apart)


def in_part(found: Findings) -> list[str]:
    """The parts in which some signs were examined and others not, of power and sensation in which limbs.

    Of reflexes and sphincters what was not examined is named (`not_examined`).
    """
    said = []
    for part in PARTS:
        if part in BY_LIMB:
            limbs = [
                f"{name}s" if limb in ("arm", "leg") else name
                for limb, name in LIMBS.items()
                if any(0 < left < whole for _, left, whole in _open_of(found, part, limb))
            ]
            if limbs:
                said.append(f"{_as_a_whole(part)} of {joined(limbs)} in part")
        elif part not in BY_SIGN and _touched(found, part) and _left(found, part):
            said.append(f"{_as_a_whole(part)} in part")
    return said


def not_examined(found: Findings) -> list[str]:
    """What was not examined: core signs, the saddle and the sphincters by name, other parts and limbs as a whole.

    A sign that was examined on one side says which one was not where the sign itself is said.
    """
    core = [s for s in row_sets()["core"].signs if len(_open(found, s)) == len(sides_of(s))]
    half = [s for s in row_sets()["core"].signs if s not in core and _open(found, s)]
    said = []
    if _touched(found, "reflexes"):
        said += [names_of(core)] if core else []
        said += [f"{_open(found, s)[0]} {names_of([s])}" for s in half]
    saddle = catalogue()["saddle"]
    for part in PARTS:
        if not _touched(found, part):
            if part == "sphincters" and _open(found, saddle):
                said.append("saddle sensation")
            said.append(_as_a_whole(part))
            continue
        if part in BY_LIMB and (limbs := _limbs_left(found, part)):
            said.append(limbs)
        if part == "sphincters":
            signs = [s for s in (saddle, *signs_of(part)) if len(_open(found, s)) == len(sides_of(s))]  # fmt: skip
            said += [s.name for s in signs]
    return said


def abnormal_left(before: Findings | None, found: Findings, *, stated: bool) -> tuple[Finding, ...]:
    """What stands abnormal from earlier in the stay and was not examined again.

    Args:
        before: What stood earlier; None where nothing did.
        found: What was found now.
        stated: Whether it is that which a statement of the rest covers now, or that of which nothing speaks.
    """
    return tuple(
        f for f in (before.findings if before else ())
        if f.answer is not None and not _usual(f)
        and ((now := found.finding(*f.key)) is None or now.answer is None)
        and found.stated_normal(*f.key) is stated
    )  # fmt: skip


def not_again(before: Findings | None, found: Findings, *, stated: bool = False) -> str:
    """The same in words; empty where there is nothing."""
    return _each(abnormal_left(before, found, stated=stated))


def _each(findings: tuple[Finding, ...]) -> str:
    """What was found where nothing is said of a side that has no finding; empty where there is nothing."""
    alone = Findings(findings=findings)
    signs = recorded(alone)
    alike: dict[str, list[Sign]] = {}
    for sign in signs:
        both = pair(alone, sign)
        only = next((f for f in both if f), None)
        words = (
            pair_words(both)
            if all(both) or only is None
            else f"{in_words(only)} on the {only.side}"
        )
        alike.setdefault(words, []).append(sign)
    return "; ".join(f"{names_of(mine)} {words}" for words, mine in alike.items())


def beside_abnormal(
    before: Findings | None, found: Findings, scale: ScaleName | None = None
) -> dict[str, str]:
    """What a paper says of the findings beside those that are abnormal, by its title; empty where there is nothing."""
    return {
        "Measured": measured(found),
        "Abnormal before, not examined again": not_again(before, found),
        "Abnormal before, now within a rest stated normal": not_again(before, found, stated=True),
        "Not testable": not_testable(found, scale),
        "Not examined": "; ".join([*not_examined(found), *in_part(found)]),
    }


# --- change


def beside_changes(change: Comparison) -> dict[str, str]:
    """What a paper says of change beside the signs that changed, by its title; empty where there is nothing."""
    return {"New, not examined before": _each(change.first_found)}


def changes_of(signs: Iterable[SignChange]) -> str:
    """Signs that changed, in their order, both sides together: ``hip flexion right 4 to 3, left 4+ to 3``."""
    by_sign: dict[str, list[SignChange]] = {}
    for sign in signs:
        by_sign.setdefault(sign.key[0], []).append(sign)
    alike: dict[str, list[Sign]] = {}
    for name, mine in by_sign.items():
        alike.setdefault(how_of(mine), []).append(catalogue()[name])
    return "; ".join(
        f"{before_sides(rows)} {how.replace('was ', 'were ') if len(rows) > 1 else how}"
        for how, rows in alike.items()
    )


# --- flags


def flags_asked(found: Findings) -> str:
    """The questions that were asked, with their answers."""
    asked = found.flags
    parts = []
    for answer in ("yes", "no"):
        said = [row.short for name, row in every_flag().items() if asked.get(name) == answer]
        parts += [f"{answer} to {'; '.join(said)}"] if said else []
    return ". ".join(p if not n else capital(p) for n, p in enumerate(parts)) or "none"


def flags_standing(found: Findings, previous: Findings | None) -> str:
    """The questions, in short, that are answered no and whose yes of earlier in the stay stands; empty where there are none."""
    kept = kept_yes(previous.flags, found.flags) if previous else ()
    return joined([every_flag()[name].short for name in kept])


def flags_before(found: Findings, previous: Findings | None) -> list[str]:
    """The questions, in short, that were answered yes earlier in the stay and not asked again."""
    return [flags()[name].short for name in _told_before(found, previous)]


def _told_before(found: Findings, previous: Findings | None) -> tuple[str, ...]:
    if previous is None:
        return ()
    said = {name for name, answer in previous.flags.items() if answer == "yes"}
    for asked in story_questions():
        told = getattr(previous.context, asked.field)
        if any(a.yes for a in asked.answers if a.code == told):
            said.update(n for n, row in flags().items() if row.told_by == asked.field)
    return tuple(n for n in found.flags_open if n in said)


def flags_open(found: Findings, previous: Findings | None = None) -> list[str]:
    """The questions, in short, that neither the flags, the story nor an abnormal sign answered, now or with yes earlier in the stay."""
    before = _told_before(found, previous)
    return [flags()[name].short for name in found.flags_open if name not in before]


def count_open(found: Findings, previous: Findings | None = None) -> str:
    """How many questions nothing answered: ``3 flags not asked``; where all of them were answered yes earlier in the stay, that they were not asked again."""
    before = len(_told_before(found, previous))
    left = len(found.flags_open) - before
    if left or not before:
        return f"{counted(left, 'flag')} not asked"
    return f"{counted(before, 'flag')} not asked again"


def flags_not_asked(found: Findings, previous: Findings | None = None) -> str:
    """The same in a row; empty where all were answered."""
    return "; ".join(flags_open(found, previous))


# --- the story


def story(found: Examination, previous: Findings | None = None) -> str:
    """What was told: complaint, side, when it began, weight and so on; what was not recorded is said of the first two.

    Args:
        found: The examination.
        previous: What stands from earlier in the stay: what was told then is said to be of then.
    """
    context, earlier = found.context, previous.context if previous else Context()
    told = context.complaint
    complaint = question("complaint").words(told) if told else "complaint not recorded"
    if not told and earlier.complaint:
        told = earlier.complaint
        complaint = f"told earlier: {question('complaint').words(told)}"
    on = context.complaint_side or (None if context.complaint else earlier.complaint_side)
    side = {"both": "both sides", None: "", "none": ""}.get(on, f"{on} side")
    known = context.onset != "unknown"
    onset = f"onset {onset_words(context.onset)}" if known else "onset not recorded"
    if not known and earlier.onset != "unknown":
        onset = f"onset told earlier: {onset_words(earlier.onset)}"
    if not told and {context.onset, earlier.onset} == {"unknown"}:
        complaint, onset = "complaint and onset not recorded", ""
    weight = {"yes": "bears weight", "no": "cannot bear weight", None: ""}[context.bears_weight]
    pain = f"pain: {question('pain').words(context.pain)}" if context.pain else ""
    pain = "no pain" if context.pain == "none" else pain
    injury = {"yes": "after an injury", "no": "no injury", None: ""}[context.trauma]
    asked = question("setting")
    setting = f"{asked.name}: {asked.words(context.setting)}" if context.setting else ""
    # What would calm is not said again of earlier.
    if context.bears_weight is None and earlier.bears_weight == "no":
        weight = "could not bear weight earlier"
    if context.pain is None and earlier.pain not in (None, "none"):
        pain = f"pain told earlier: {question('pain').words(earlier.pain)}"
    if context.trauma is None and earlier.trauma == "yes":
        injury = "injury told earlier"
    if context.setting is None and earlier.setting not in (None, "none"):
        setting = f"told earlier, {asked.name}: {asked.words(earlier.setting)}"
    text = ", ".join(filter(None, (complaint, side, onset, weight, pain, injury, setting)))
    return f"{capital(text)}."
