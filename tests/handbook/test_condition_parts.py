"""Every part of every condition is there for a reason: taken out, one of the condition's own samples comes out otherwise."""

import pytest

from tests.handbook.rule_samples import SAMPLES, findings
from wardexam.anatomy.catalogue import catalogue
from wardexam.exam.answers import answers_for, scales
from wardexam.exam.findings import Finding
from wardexam.reasoning.rules.conditions import Condition, conditions, holding, table_of

# What a test may name several of; one word less is a narrower test.
WORDS = (
    "sign",
    "kind",
    "limb",
    "answers",
    "meanings",
    "complaint",
    "complaint_side",
    "pain",
    "onset",
)
# What narrows a test beside the words: without it more would pass.
BOUNDS = ("level", "weak", "at_most", "unconfined", "numb_beyond", "limbs", "one_side_limbs", "older_than", "younger_than",
          "least", "sides", "count", "flag", "trauma", "no_weight", "condition", *WORDS)  # fmt: skip


def parts():
    """Each condition with one part taken out: what was taken, the condition then, and whether that is narrower."""
    for name, row in conditions().items():
        for at in range(len(row.some)):
            if len(row.some) > 1:
                left = (*row.some[:at], *row.some[at + 1 :])
                yield name, f"any {at}", row.model_copy(update={"some": left}), True
        for at in range(len(row.every)):
            left = (*row.every[:at], *row.every[at + 1 :])
            yield name, f"all {at}", row.model_copy(update={"every": left}), False
        for group in ("every", "some"):
            for at, test in enumerate(getattr(row, group)):
                for what, other, narrower in changed(test):
                    tests = list(getattr(row, group))
                    tests[at] = other
                    yield name, f"{group} {at} {what}", row.model_copy(update={group: tuple(tests)}), narrower  # fmt: skip


def only_here(test):
    """Whether no other sign can give what is asked for: the sign's name is then for the reader."""
    others = {sign.answers for sign in catalogue().values() if sign.id not in test.sign}
    kinds = [answers_for(kind) for kind in others if kind != "level"]
    if test.least:
        return all(not k.amount or k.amount.most < test.least for k in kinds)
    return bool(test.answers) and all(k.get(a) is None for k in kinds for a in test.answers)


def changed(test):
    """A test with one word less, and with one of its bounds lifted."""
    fields = type(test).model_fields
    bounds = [b for b in BOUNDS if getattr(test, b) != fields[b].default]
    for bound in bounds:
        if len(bounds) > 1 and not (bound == "sign" and only_here(test)):
            yield f"no {bound}", test.model_copy(update={bound: fields[bound].default}), False
        words = getattr(test, bound)
        if bound in WORDS and len(words) > 1:
            for word in words:
                left = tuple(w for w in words if w != word)
                yield f"{bound} {word}", test.model_copy(update={bound: left}), True


def shown(name, row: Condition, narrower: bool) -> bool:
    """Whether a sample of the condition tells the changed row from the true one."""
    table = table_of({**conditions(), name: row})
    lines = SAMPLES[name]["holds" if narrower else "nearly"]
    return any((name in holding(findings(line), table)) != narrower for line in lines)


def test_no_usual_answer_makes_a_condition_hold():
    """What is usual may be left out where it is kept what holds; a full movement shows a border and stays in."""
    table = table_of(conditions())
    for sign in catalogue().values():
        if sign.answers == "level":
            continue
        for scale in scales() if sign.answers == "tendon" else (None,):
            for answer in answers_for(sign.answers, scale or "conventional").answers:
                found = Finding.model_construct(sign=sign.id, side="right", answer=answer.code, scale=scale)  # fmt: skip
                assert not (answer.usual and table.met_by(found)), found


@pytest.mark.parametrize("name", list(conditions()))
def test_each_part_of_a_condition_is_told_by_a_sample(name):
    untold = [
        what for n, what, row, narrower in parts() if n == name and not shown(n, row, narrower)
    ]
    assert not untold
