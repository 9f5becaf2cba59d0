"""Random examinations, and what makes one of them worse by one thing."""

from collections import Counter
from collections.abc import Iterator
from random import Random
from typing import get_args

from wardexam.anatomy.catalogue import Sign, catalogue
from wardexam.exam.answers import answers_for
from wardexam.exam.examination import Complaint, Context, Findings, Onset, Setting
from wardexam.exam.findings import Finding, RestNormal
from wardexam.exam.flags import every_flag
from wardexam.reasoning.rules.standing import standing, still_open
from wardexam.reasoning.rules.urgency import assess

# From the most acute on; "unknown" stands for any of them.
ONSETS = tuple(
    o for o in ("sudden", "waking", "hours", "days", "weeks", "longer") if o in get_args(Onset)
)
COMPLAINTS = get_args(Complaint)
SETTINGS = get_args(Setting)
PAINS = (None, "none", "head", "back", "neck", "limb", "radiating")
# Signs whose answer is a place or a number of its own.
LEFT_OUT = ("level", "residual", "amount_test")
# The grades of power, the weakest first, without the full one.
WEAK = ("0", "1", "2", "3", "4-", "4", "4+")
LIMBS = ("right leg", "left leg", "right arm", "left arm")


def _abnormal(source: Random, sign: Sign) -> tuple[str, str | None] | None:
    """An answer of a sign that is not as usual, and one graver than it where there is one."""
    kind = answers_for(sign.answers)
    options = [a.code for a in kind.answers if not a.usual]
    if not options:
        return None
    if sign.answers == "mrc":
        at = source.randrange(1, len(WEAK))
        return WEAK[at], WEAK[at - 1]
    ranked = [c for c in (kind.graver or ()) if c != "none"]
    if len(ranked) > 2:
        at = source.randrange(1, len(ranked) - 1)
        return ranked[at], ranked[at + 1]
    return source.choice(options), None


def finding(sign: Sign, side: str, answer: str) -> Finding:
    """A finding of a sign; tendon reflexes on the conventional scale."""
    scale = {"scale": "conventional"} if sign.answers == "tendon" else {}
    return Finding.model_validate({"sign": sign.id, "side": side, "answer": answer, **scale})


def with_finding(examination: Findings, made: Finding) -> Findings:
    """The examination with a finding put in, in place of one of the same sign and side."""
    kept = tuple(f for f in examination.findings if f.key != made.key)
    return examination.model_copy(update={"findings": (*kept, made)})


def drawn(source: Random) -> Findings:
    """A random examination: up to eight signs, up to five flags, a story."""
    story = {
        "onset": source.choice((*ONSETS, "unknown")),
        "complaint": source.choice((None, source.choice(COMPLAINTS), source.choice(COMPLAINTS))),
        "pain": source.choice(PAINS),
        "age": source.choice((None, 30, 60, 80)),
    }
    made = Findings(context=Context.model_validate(story))
    for _ in range(source.randrange(0, 9)):
        made = added(made, source)[0]
    asked = source.sample(list(every_flag()), source.randrange(0, 6))
    return made.model_copy(update={"flags": {flag: source.choice(("yes", "no")) for flag in asked}})


def added(examination: Findings, source: Random) -> tuple[Findings, Findings | None]:
    """The examination with one more finding, and with that finding graver, where there is such.

    One in four is as usual: what may show that a nerve is spared.
    """
    while True:
        sign = source.choice(list(catalogue().values()))
        side = source.choice(("right", "left")) if sign.sides == "each" else "midline"
        if examination.finding(sign.id, side) or sign.answers in LEFT_OUT:
            continue
        usual = [a.code for a in answers_for(sign.answers).answers if a.usual]
        if source.random() < 0.25 and usual:
            return with_finding(examination, finding(sign, side, usual[0])), None
        options = _abnormal(source, sign)
        if options:
            first, graver = (
                o and with_finding(examination, finding(sign, side, o)) for o in options
            )
            return first, graver


Step = tuple[str, Findings, Findings]
KINDS = (
    "one more abnormal finding", "a graver grade", "a yes", "flags not asked instead of no", "an unknown onset",
    "a more acute onset", "rest normal", "blanks instead of normal", "a complaint", "bears no weight", "an injury",
    "not testable instead of normal",
)  # fmt: skip


def worse_steps(examination: Findings, source: Random) -> Iterator[Step]:
    """What makes an examination worse, or less known, by one thing: a word for it, before, after."""
    while True:
        more, graver = added(examination, source)
        if more.findings[-1].choice is None or not more.findings[-1].choice.usual:
            break
    yield "one more abnormal finding", examination, more
    if graver:
        yield "a graver grade", more, graver
    flag = source.choice(list(every_flag()))
    yield "a yes", examination, examination.model_copy(update={"flags": {**examination.flags, flag: "yes"}})  # fmt: skip
    silent = {k: v for k, v in examination.flags.items() if v == "yes"}
    if silent != examination.flags:
        yield "flags not asked instead of no", examination, examination.model_copy(update={"flags": silent})  # fmt: skip

    def told(**more: str) -> Findings:
        return examination.model_copy(update={"context": examination.context.model_copy(update=more)})  # fmt: skip

    story = examination.context
    if story.onset != "unknown":
        yield "an unknown onset", examination, told(onset="unknown")
    if story.onset in ONSETS[1:]:
        yield "a more acute onset", examination, told(onset=ONSETS[ONSETS.index(story.onset) - 1])
    if story.complaint is None:
        yield "a complaint", examination, told(complaint=source.choice(COMPLAINTS))
    if source.random() < 0.25:
        yield "bears no weight", examination, told(bears_weight="no")
        yield "an injury", examination, told(trauma="yes")
    if story.setting is None:
        yield "what it came after", examination, told(setting=source.choice(SETTINGS))
    statement = RestNormal.model_validate({"part": "power", "limb": source.choice(LIMBS)})
    yield "rest normal", examination, examination.model_copy(update={"rest_normal": (statement,)})
    usual = [f for f in examination.findings if f.choice and f.choice.usual]
    if usual:
        gone = tuple(f for f in examination.findings if f not in usual)
        yield "blanks instead of normal", examination, examination.model_copy(update={"findings": gone})  # fmt: skip
        untested = Finding(sign=usual[0].sign, side=usual[0].side, not_testable="pain")
        yield "not testable instead of normal", examination, with_finding(examination, untested)


def stated_normal(examination: Findings) -> Findings:
    """The examination with the rest of every limb stated normal."""
    rest = tuple(
        RestNormal.model_validate({"part": part, "limb": limb})
        for part in ("power", "reflexes", "sensation")
        for limb in LIMBS
    )
    return examination.model_copy(update={"rest_normal": rest})


def not_again(earlier: Findings, later: Findings) -> Findings:
    """An earlier examination without what a later one examined or asked again, the onset among it; an age told later is the patient's."""
    answered = {f.key for f in later.findings if f.answer is not None}
    onset = later.context.onset if earlier.context.onset == "unknown" else earlier.context.onset
    age = later.context.age if earlier.context.age is None else earlier.context.age
    return earlier.model_copy(
        update={
            "context": earlier.context.model_copy(update={"onset": onset, "age": age}),
            "findings": tuple(f for f in earlier.findings if f.key not in answered),
            "flags": {k: v for k, v in earlier.flags.items() if k not in later.flags},
        }
    )


def in_words(step: Step) -> str:
    """A step as text, for a failure."""
    word, before, after = step
    signs, more = ({f"{f.sign} {f.side} {f.answer}" for f in e.findings} for e in (before, after))
    return f"{word}: {sorted(signs)} {before.flags} {before.context} -> {sorted(more - signs)} {after.flags} {after.context}"


def level(examination: Findings, previous: Findings | None = None) -> int:
    """How urgent it is by the rules alone."""
    return assess(examination, previous, None).level


def drops_within(trials: int, source: Random) -> tuple[Counter[str], list[str]]:
    """What made random examinations worse, how often each, and in words what was calmer for it."""
    tried: Counter[str] = Counter()
    drops = []
    for _ in range(trials):
        examination = drawn(source)
        levels = {id(examination): level(examination)}
        for step in worse_steps(examination, source):
            word, before, after = step
            tried[word] += 1
            levels[id(after)] = level(after)
            if levels[id(after)] < levels[id(before)]:
                drops.append(in_words(step))
    return tried, drops


def drops_across(trials: int, source: Random) -> list[str]:
    """In words what was calmer in a next examination, but by signs examined and flags asked again."""
    drops = []
    for _ in range(trials):
        earlier, later = drawn(source), stated_normal(drawn(source))
        stands = not_again(earlier, later)
        if level(later, earlier) < level(stands):
            drops.append(in_words(("the next examination", stands, later)))
    return drops


def drops_again(trials: int, source: Random) -> list[str]:
    """In words what was calmer where the same was found once more, of what was worse since an onset was told, and told none."""
    drops = []
    for _ in range(trials):
        first = drawn(source)
        for step in worse_steps(first, source):
            untold = step[2].context.model_copy(
                update={"onset": "unknown", "complaint": None, "pain": None}
            )
            now = step[2].model_copy(update={"context": untold})
            once, twice = (of_stay(first, *(now,) * times) for times in (1, 2))
            if twice < once:
                drops.append(in_words((f"the same again, {step[0]}", first, now)))
    return drops


def of_stay(*stay: Findings) -> int:
    """How urgent the last of a stay's examinations is by the rules alone."""
    *before, now = stay
    return assess(now, standing(before), None, still=still_open(before)).level
