"""The rules that would have spoken and are switched off here, in words for every paper and screen."""

from wardexam.exam.text import clean, with_stop
from wardexam.reasoning.rules.reason import Urgency
from wardexam.reasoning.rules.rule_table import WORDS
from wardexam.reasoning.rules.switched_off import SwitchedOff
from wardexam.reasoning.rules.urgency import OFF_HERE


def off_words(off: SwitchedOff) -> str:
    """That a rule is switched off here, what it would have said, who switched it off, when and why."""
    said = f"{clean(off.text)} ({WORDS[off.urgency]})"
    return f"{OFF_HERE.capitalize()}: {said}, {clean(off.by_words)}: {with_stop(clean(off.why))}"


def off_lines(urgency: Urgency) -> list[str]:
    """Every rule that would have spoken and is switched off here, a sentence each, for every paper."""
    return [off_words(off) for off in urgency.switched_off]


def off_short(urgency: Urgency) -> str:
    """The same of all in one sentence without why, for a screen: what they would have said, by whom and when."""
    by: dict[str, list[str]] = {}
    for off in urgency.switched_off:
        by.setdefault(clean(off.by_words), []).append(clean(off.brief))
    said = "; ".join(f"{', '.join(names)}, {who}" for who, names in by.items())
    return f"{OFF_HERE.capitalize()}: {with_stop(said)}" if said else ""


def off_brief(urgency: Urgency) -> str:
    """The rules that would have spoken and are switched off here, in a few words; empty where none is."""
    first, *more = urgency.switched_off or (None,)
    if first is None:
        return ""
    also = f" and {len(more)} more" if more else ""
    return f"{OFF_HERE}: {clean(first.brief)}{also}"
