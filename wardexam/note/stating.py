"""What speaks against a statement that the rest of a limb was normal, before it is made."""

from wardexam.exam.examination import Examination, Findings
from wardexam.exam.findings import LIMB_REASONS, REASON_WORDS, RestNormal
from wardexam.exam.wording import cell, named
from wardexam.note.sentences import abnormal_left


def doubts(
    stated: RestNormal, examination: Examination, before: Findings | None
) -> tuple[str, ...]:
    """What was abnormal earlier and would be covered now, and what of the limb could not be tested; empty where nothing.

    Args:
        stated: The statement.
        examination: What is entered.
        before: What stood earlier in the stay; None where nothing did.
    """
    alone = examination.model_copy(update={"rest_normal": (stated,)})
    odd = [
        f"{named(f)} {cell(f, examination.scale)}"
        for f in abnormal_left(before, alone, stated=True)
    ]
    untested = [
        f"{named(f)} ({REASON_WORDS[f.not_testable]})"
        for f in examination.findings
        if f.not_testable
        and (
            stated.covers(f.row, f.side)
            or (f.not_testable in LIMB_REASONS and f"{f.side} {f.row.limb}" == stated.limb)
        )
    ]
    told = (("Abnormal before", odd), ("Not testable", untested))
    return tuple(f"{what}: {', '.join(signs)}" for what, signs in told if signs)
