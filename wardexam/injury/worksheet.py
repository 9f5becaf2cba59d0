"""The results as plain text for the chart: ASCII, lines of at most 72 columns, our own layout."""

import textwrap
from collections.abc import Sequence
from itertools import zip_longest

from wardexam.exam.text import clean, released, to_ascii
from wardexam.injury.computed import SCORES_CAUTION, Computed, Result
from wardexam.injury.segments import NAMES, limb
from wardexam.injury.sheet import ANAL_WORDS, SIDES, TEST_WORDS, TESTS, InjurySheet
from wardexam.injury.sums import Sum
from wardexam.injury.tables import STANDING_WORDS, Why, rules, standard
from wardexam.injury.typed import scores_in_words

WIDTH = 72
LABEL = 22
CELL = 24
HEADING = "SPINAL CORD INJURY: NEUROLOGICAL CLASSIFICATION"
NOBODY = "NO NAME OR NUMBER GIVEN"
ASSUMED = "* beside a result: rests on a marked score counted as normal (rule 29)"
LEVELS = {
    "light_touch_level": "Light-touch level",
    "pinprick_level": "Pinprick level",
    "sensory_level": "Sensory level",
    "motor_level": "Motor level",
}
ZONES = {"sensory_zone": "Sensory zone", "motor_zone": "Motor zone"}
WHOLE = {
    "neurological_level": "Neurological level",
    "completeness": "Completeness",
    "impairment": "Impairment scale",
}
SUMS = {
    "arm_motor": "Arm muscles",
    "leg_motor": "Leg muscles",
    "light_touch": "Light touch",
    "pinprick": "Pinprick",
}


def worksheet(
    computed: Computed, whose: str = "", about: Sequence[str] = (), changed: Sequence[str] = ()
) -> str:
    """The classification as text: what changed, results, sub-scores, what was found, and why.

    Args:
        computed: The results.
        whose: Who the patient is, in words; what the sheet says itself where empty.
        about: Who scored it and when, and of which revision, a sentence each.
        changed: What changed since the sheet before, a sentence each; the first says which that is.
    """
    for_whom = whose or clean(computed.sheet.id).strip() or NOBODY
    lines = [HEADING, *_wrapped(f"For: {for_whom}", "", "")]
    lines += [line for text in about for line in _wrapped(text, "", "  ")]
    if changed:
        lines += ["", *_wrapped(changed[0], "", "")]
        lines += [line for text in changed[1:] for line in _wrapped(text)]
    lines += ["", *_results(computed), "", *_sums(computed)]
    lines += ["", "FOUND", *_found(computed.sheet)]
    for heading, said in (
        ("NOT TESTABLE", computed.not_testable),
        ("NOT ENTERED: UNKNOWN, NOT NORMAL", computed.not_entered),
    ):
        if said:
            lines += ["", heading, *_wrapped("; ".join(said))]
    lines += ["", "WHY", *_reasons(computed)]
    if computed.doubts:
        lines += ["", "TO CHECK"]
        lines += [line for doubt in computed.doubts for line in _wrapped(with_rules(doubt))]
    if standing := _standing(computed):
        lines += ["", *standing]
    lines += ["", *_wrapped(SCORES_CAUTION, "", "")]
    return "\n".join(to_ascii(released(line)).rstrip() for line in lines) + "\n"


def in_one_line(computed: Computed) -> str:
    """The results in one line: scale, levels, sub-scores; a result with several values left as all of them."""
    sums_ = (f"{label.lower()} {_sum(computed.sums[id_])}" for id_, label in SUMS.items())
    return "; ".join([in_few_words(computed), *sums_])


def in_few_words(computed: Computed) -> str:
    """Scale and levels in one line; a result with several values left as all of them."""
    found = computed.results

    def values(id_: str) -> str:
        return found[id_].text.removesuffix(" (not determinable)")

    parts = [f"scale {values('impairment')}", f"level {values('neurological_level')}"]
    for kind in ("motor_level", "sensory_level"):
        sides = ", ".join(f"{side} {values(f'{kind}_{side}')}" for side in SIDES)
        parts.append(f"{kind.replace('_', ' ')} {sides}")
    return "; ".join(parts)


def _wrapped(text: str, first: str = "  ", then: str = "    ") -> list[str]:
    return textwrap.wrap(
        text, WIDTH, initial_indent=first, subsequent_indent=then, break_on_hyphens=False
    )


def _row(label: str, *cells: str) -> list[str]:
    """A row of a table, over as many lines as its cells take."""
    width = CELL if len(cells) > 1 else WIDTH - LABEL
    held = [textwrap.wrap(c, width - 1, break_on_hyphens=False) for c in cells]
    rows = zip_longest([label], *held, fillvalue="")
    return [
        f"{name:<{LABEL}}" + "".join(f"{part:<{width}}" for part in parts).rstrip()
        for name, *parts in rows
    ]


def _results(computed: Computed) -> list[str]:
    found = computed.results
    lines = _row("", *SIDES)
    for kind, label in LEVELS.items():
        lines += _row(label, *(found[f"{kind}_{side}"].text for side in SIDES))
    for kind, label in WHOLE.items():
        lines += _row(label, _whole(found[kind]))
    lines.append("Zone of partial preservation")
    for kind, label in ZONES.items():
        lines += _row(label, *(found[f"{kind}_{side}"].text for side in SIDES))
    return lines


def _whole(result: Result) -> str:
    """A result of both sides; a grade with what it says."""
    grade = standard().grades.get(result.values[0])
    if result.id != "impairment" or not result.determined or grade is None:
        return result.text
    return grade.words if result.values == ("none",) else f"{result.text}, {grade.words}"


def _sums(computed: Computed) -> list[str]:
    width = (WIDTH - LABEL) // 3
    lines = [f"{'Sub-scores':<{LABEL}}" + "".join(f"{c:<{width}}" for c in (*SIDES, "both"))]
    for kind, label in SUMS.items():
        cells = [_sum(computed.sums[id_]) for id_ in (f"{kind}_right", f"{kind}_left", kind)]
        name = f"{label}, of {computed.sums[kind].full}"
        lines.append(f"{name:<{LABEL}}" + "".join(f"{c:<{width}}" for c in cells))
    return lines


def _sum(total: Sum) -> str:
    return total.text if total.determined else f"ND ({total.least}-{total.most})"


def _ends(part: str) -> str:
    """The first and last segment with a key muscle of a limb."""
    at = limb(part)
    return f"{NAMES[at[0]]} to {NAMES[at[-1]]}"


def _found(sheet: InjurySheet) -> list[str]:
    """The scores as entered, and what was answered."""
    lines = []
    for test in TESTS:
        for side in SIDES:
            if given := getattr(getattr(sheet, test), side):
                words = scores_in_words(test, given)
                if "/" in words:
                    words = f"{words} ({_ends('arm')} / {_ends('leg')})"
                lines += _wrapped(f"{side} {TEST_WORDS[test]}: {words}")
    signs = [
        f"{words}: {answer}"
        for words, answer in (
            *((words, getattr(sheet, name)) for name, words in ANAL_WORDS.items()),
            ("earlier deficit", sheet.earlier_deficit),
        )
        if answer
    ]
    signs += [
        f"lowest movement outside the key muscles, {side}: {movement}"
        for side in SIDES
        if (movement := getattr(sheet.movements, side))
    ]
    if signs:
        lines += _wrapped("; ".join(signs))
    for row in sheet.rated:
        why = f": {clean(row.why)}" if row.why.strip() else ""
        place = f"{row.side} {TEST_WORDS[row.test]} {row.segment}"
        counted = "normal" if row.counts == "normal" else "as examined"
        lines += _wrapped(f"{place} counted {counted}{why}")
    if sheet.marked:
        lines += _wrapped("* beside a score: not from the cord injury")
    if sheet.comment.strip():
        lines += _wrapped(clean(sheet.comment))
    return lines or ["  nothing"]


def with_rules(why: Why) -> str:
    """A reason in words with the numbers of the rules that decide."""
    numbers = ", ".join(map(str, why.rules))
    return f"{why.words} (rule{'s' if why.rules[1:] else ''} {numbers})"


def reasons_told(computed: Computed) -> list[list[str]]:
    """Why each result is what it is, those of the whole first; both sides as one where they agree.

    A list for each result, with what it depends on behind it.
    """
    found, told = computed.results, []
    for id_, label in WHOLE.items():
        told.append(_reason(found[id_], label))
    for kind, label in (LEVELS | ZONES).items():
        sides = [_reason(found[f"{kind}_{side}"], f"{label}, {side}") for side in SIDES]
        both = [_reason(found[f"{kind}_{side}"], f"{label}, both") for side in SIDES]
        told += both[:1] if both[0] == both[1] else sides
    told += [
        [f"{label} {with_rules(computed.sums[id_].why)}"]
        for id_, label in SUMS.items()
        if not computed.sums[id_].determined
    ]
    return told


def _reasons(computed: Computed) -> list[str]:
    told = reasons_told(computed)
    lines = [line for paragraphs in told for text in paragraphs for line in _wrapped(text)]
    if any(r.assumed for r in computed.results.values()):
        lines += _wrapped(ASSUMED)
    return lines


def _reason(result: Result, label: str) -> list[str]:
    """Why one result is what it is, a text for each paragraph."""
    if result.determined:
        return [f"{label} {result.text}: {with_rules(result.why[0])}"]
    told = [f"{label} {result.text}"]
    if result.id == "impairment":
        ways = [
            f"{'no grade' if v == 'none' else v} if {with_rules(why)}"
            for v, why in zip(result.values, result.why, strict=True)
        ]
        told = [f"{label}: {'; '.join(ways)}"]
    return [*told, f"  depends on {', '.join(result.depends_on)}"] if result.depends_on else told


def _standing(computed: Computed) -> list[str]:
    """Which of the rules that decided here are less than published."""
    used = {n for r in computed.results.values() for n in r.rules}
    used |= {n for doubt in computed.doubts for n in doubt.rules}
    lines = []
    for standing, words in STANDING_WORDS.items():
        numbers = [str(n) for n in sorted(used) if rules()[n].standing == standing]
        if numbers and standing != "published":
            lines += _wrapped(f"Rules {words}: {', '.join(numbers)}.", "", "  ")
    return lines
