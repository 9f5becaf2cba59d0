"""What stands in no set that is asked: found by its name, or answered with others on one typed line."""

from typing import Any

from wardexam.anatomy.catalogue import Sign, catalogue
from wardexam.errors import InputError
from wardexam.exam.entry import Change
from wardexam.exam.findings import Side, sides_of
from wardexam.exam.flags import flags
from wardexam.exam.looking_up import KIND_WORDS, Named, looked_up
from wardexam.exam.sheet import sign_names
from wardexam.exam.story import question, story
from wardexam.exam.typed import SETTING, OfFive, of_five, on_both_sides, read_line
from wardexam.exam.wording import spoken
from wardexam.plain import words
from wardexam.plain.sitting import Sitting, ask_flag, ask_story
from wardexam.reasoning.rules.contradictions import contradictions

Question = tuple[Sign, Side]
LISTED = 9  # matches that are said


def questions_of(sign: Sign) -> list[Question]:
    """A sign with each side on which it is asked."""
    return [(sign, side) for side in sides_of(sign)]


def ask_onset(sitting: Sitting) -> None:
    """Ask when it began, the most acute first, as on the screen; Enter alone leaves it as it is."""
    ask_story(sitting, question("onset"))


def find(sitting: Sitting, text: str) -> list[Question]:
    """What is meant by a few letters of a name: a sign's questions, to ask now; a question is asked at once."""
    talk = sitting.talk
    text = text or talk.ask("Find which sign or question? Enter to leave it:")
    found = looked_up(text)
    if not found:
        if text:
            talk.say(f"Nothing is called '{text}'.")
        return []
    what = _chosen(sitting, text, found)
    if what is None:
        return []
    if what.kind == "sign":
        return questions_of(catalogue()[what.id])
    if what.kind == "flag":
        ask_flag(sitting, flags()[what.id])
    else:
        ask_onset(sitting)
    return []


def _chosen(sitting: Sitting, text: str, found: tuple[Named, ...]) -> Named | None:
    """The one that is meant: at once where it is alone or called so in full, else chosen by its number."""
    if len(found) == 1 or found[0].name.lower() == " ".join(text.lower().split()):
        return found[0]
    more = len(found) - LISTED
    if more > 0:
        sitting.talk.say(f"{len(found)} fit, the best first; type more of the name for the others.")
    options = [f"{what.name}, {KIND_WORDS[what.kind]}" for what in found[:LISTED]]
    chosen = sitting.talk.choose("Which? A number, Enter to leave it:", options)
    return None if chosen is None else found[chosen]


def is_line(text: str) -> bool:
    """Whether it begins as a typed line does: with a sign's name and an answer, or with what is set."""
    typed = text.lower().replace(",", "").replace("-", "_").split()
    if typed and SETTING.fullmatch(text.split()[0]):
        return True
    return any("_".join(typed[:n]) in sign_names() for n in range(1, min(5, len(typed))))


def enter_line(sitting: Sitting, text: str) -> None:
    """Enter every sign, flag and fact of a typed line, all or none; it is undone as one.

    Raises:
        InputError: A word is not understood or an answer is not acceptable; nothing has changed.
    """
    scale = f"scale={sitting.examination.scale} "
    sheet = read_line(f"{scale}{text}")
    if (pairs := of_five(text)) and _graded_of_five(sitting, pairs[0]):
        sheet = read_line(f"{scale}{on_both_sides(text)}")
    if sheet.id:
        raise InputError("the patient is chosen already", "id")
    found = sheet.spelled_out()
    if stated := contradictions(found):  # the doctor is there and says which is so
        raise InputError(f"{stated[0].text}: type the one that is so")
    made = [
        (
            Change("finding", f"{f.sign} {f.side}", f.model_dump(mode="json")),
            f"{f.row.name}{words.place(f.side)}: {spoken(f)}.",
        )
        for f in found.findings
    ]
    made += [
        (Change("flag", name, answer), f"{flags()[name].short}: {answer}.")
        for name, answer in sheet.flags.items()
    ]
    made += [
        (Change("context", name, value), f"{_told(name, value)}.")
        for name, value in sheet.context.model_dump(mode="json", exclude_unset=True).items()
    ]
    made += [
        (sitting.rest_normal(s.part, s.limb), f"The rest of {s.part} in the {s.limb} was normal.")
        for s in found.rest_normal
    ]
    if not made:
        raise InputError("there is nothing to enter on this line")
    sitting.change_together(made)


def _graded_of_five(sitting: Sitting, pair: OfFive) -> bool:
    """Whether a pair is a grade out of five, and not right and left: asked once.

    Raises:
        InputError: It was asked and not answered.
    """
    grade = pair.grade
    return sitting.of_five(
        f"{pair.name} {grade}/5",
        f"right {grade}, left 5",
        f"grade {grade} out of 5, on both sides",
        f"type {grade}/{grade} for grade {grade} on both sides",
    )


def _told(name: str, value: Any) -> str:
    """A fact of a typed line in words."""
    asked = next((q for q in story() if q.field == name), None)
    return f"{asked.name}: {asked.words(value)}" if asked else f"{name}: {value}"
