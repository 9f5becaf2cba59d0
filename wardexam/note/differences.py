"""Two versions of one examination side by side: what a revision changed, and what two doctors say differently."""

from wardexam.exam.examination import Examination
from wardexam.exam.flags import every_flag
from wardexam.exam.naming import name_on
from wardexam.exam.text import clean
from wardexam.exam.wording import in_words, remarks
from wardexam.note.page import wrapped
from wardexam.note.reasons import KINDS
from wardexam.reasoning.rules.own_alarm import rule_words

Rows = dict[str, str]


def _rows(examination: Examination) -> Rows:
    """Everything said in an examination, by what it is said of."""
    rows: Rows = {}
    for f in examination.findings:
        more = remarks(f, None)
        rows[name_on(f.row, f.side)] = ", ".join((in_words(f), *(r for r in more if not r.startswith("not testable:"))))  # fmt: skip
    for name, answer in examination.flags.items():
        rows[f"question, {every_flag()[name].short}"] = answer
    for act in examination.acts:
        name, said = f"{rule_words(act.rule)}, {KINDS[act.kind]} {act.at:%d %b %H:%M}", f"{clean(act.what)} ({clean(act.by)})"  # fmt: skip
        rows[name] = f"{rows[name]}; {said}" if name in rows else said  # two within one minute
    for stated in examination.rest_normal:
        rows[f"rest of {stated.part}, {stated.limb}"] = "stated normal"
    for name, value in examination.context.model_dump().items():
        if value not in (None, "unknown"):
            rows[name.replace("_", " ")] = str(value).replace("_", " ")
    rows["examined"] = f"{examination.at:%Y-%m-%d %H:%M}"
    if examination.in_error:
        rows["entered in error"] = "yes"
    for name in ("comment", "impression", "suggestion"):
        if text := getattr(examination, name).strip():
            rows[name] = clean(text)
    return rows


def revised(before: Examination, after: Examination) -> list[str]:
    """What a revision says that the one before did not, from and to in words; empty where they say the same."""
    old, new = _rows(before), _rows(after)
    said = []
    for name in dict.fromkeys((*old, *new)):
        was, now = old.get(name), new.get(name)
        if was is None:
            said.append(f"{name}: {now}, added")
        elif now is None:
            said.append(f"{name}: {was}, taken back")
        elif was != now:
            said.append(f"{name}: {was} to {now}")
    return said


def differences(theirs: Examination, yours: Examination, save: str) -> str:
    """What the stored revision and what is entered here say differently, a paragraph each.

    Args:
        theirs: The stored revision.
        yours: What is entered here.
        save: The key that saves.
    """
    amendment = theirs.amendment
    who = f" by {clean(amendment.by)}, {amendment.at:%Y-%m-%d %H:%M}: {clean(amendment.why)}" if amendment else ""  # fmt: skip
    lines = wrapped(
        f"Revision {theirs.revision} was saved meanwhile{who}. Yours was made from the one before "
        f"and is not saved. Both are kept whatever you do: go back and change yours where theirs is "
        f"right, then {save} saves yours as the revision after theirs; or leave, and theirs stands."
    )
    other, mine = _rows(theirs), _rows(yours)
    names = [n for n in dict.fromkeys((*other, *mine)) if other.get(n) != mine.get(n)]
    lines.append("")
    for name in names:
        lines += wrapped(f"{name}: theirs {other.get(name, 'nothing')}; yours {mine.get(name, 'nothing')}")  # fmt: skip
    return "\n".join(lines if names else [*lines, "They say the same."]) + "\n"
