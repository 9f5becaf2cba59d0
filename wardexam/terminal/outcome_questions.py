"""The questions that record what it was in the end: each may be left empty, and one that is wrong stays as typed."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

from wardexam.errors import InputError
from wardexam.exam.final_sites import FINAL_SIDES
from wardexam.review.concluding import CLEAR, check_image, concluded, read_field, site_words

if TYPE_CHECKING:
    from wardexam.exam.outcome import Outcome
    from wardexam.records.repository import PatientFile
    from wardexam.session import Session
    from wardexam.terminal.question import Then

LONGEST = 120
IMAGE = ("imaged", "image")  # asked only where it was said whether an image was positive


class Asks(Protocol):
    """What asks on a screen, as `LineScreen.ask`."""

    def __call__(self, question: str, then: "Then", text: str = "", choices: Sequence[str] = ()) -> None:  # fmt: skip
        """Ask for an answer that is typed."""


@dataclass(frozen=True, slots=True)
class Asked:
    """One question: its field, its words, what may be chosen."""

    field: str
    words: str
    choices: tuple[str, ...] = ()


def _questions(who: str) -> tuple[Asked, ...]:
    sites = tuple(f"{n} {words}" for n, words in enumerate(site_words().values(), 1))
    sides = tuple(f"{n} {side}" for n, side in enumerate(FINAL_SIDES, 1))
    return (
        Asked("site", f"{who}: where was it in the end? (empty: not known)", sites),
        Asked("side", "Side (empty: none):", sides),
        Asked("positive", "Image positive? y or n (empty: none done, or not known):"),
        Asked("imaged", "Image done when, such as 14:30 or 2026-03-02 14:30 (empty: not known):"),
        Asked("image", "What the image showed (may be empty):"),
        Asked("diagnosis", "Diagnosis (may be empty):"),
        Asked("by", "Who says so:"),
    )


def _known(last: "Outcome | None", by: str) -> dict[str, str]:
    """What the last revision says, as it would be typed."""
    if last is None:
        return {"by": by}
    imaged = f"{last.imaged:%Y-%m-%d %H:%M}" if last.imaged else ""
    return {
        "site": site_words()[last.site] if last.site else "", "side": last.side or "", "positive": last.positive or "",
        "imaged": imaged, "image": last.image, "diagnosis": last.diagnosis, "by": by,
    }  # fmt: skip


def ask_outcome(
    ask: Asks,
    who: str,
    file: "PatientFile",
    session: "Session",
    done: "Callable[[Outcome, str], None]",
    refused: Callable[[InputError], None],
) -> None:
    """Ask what it was in the end, question by question; what was recorded last stands in the answers' places.

    Args:
        ask: What asks.
        who: Whose it is, in words.
        file: Whose it is; what was recorded before and the examinations.
        session: Who records it, and the clock.
        done: Gets the outcome, and what is to be said of the time of its image.
        refused: Gets why it cannot be recorded.
    """
    last = file.outcomes[-1] if file.outcomes else None
    known, given, now = _known(last, session.examiner), dict[str, str](), session.now()

    def outcome(answers: dict[str, str]) -> "tuple[Outcome, str]":
        """The outcome as far as it is told, and what is to be said of the time of its image."""
        made = concluded(answers, file.patient.id, last, session.examiner, session.now())
        return made, check_image(made, last, file.patient, file.examinations)

    def end() -> None:
        try:
            made, doubt = outcome(given)
        except InputError as error:
            refused(error)
            return
        done(made, doubt)

    questions = _questions(who)

    def left_out(field: str) -> bool:
        return (field == "side" and given.get("site") in (CLEAR, "", None)) or (
            field in IMAGE and given.get("positive") in (CLEAR, "", None)
        )

    def step(number: int) -> None:
        while number < len(questions) and left_out(questions[number].field):
            given[questions[number].field] = CLEAR
            number += 1
        if number == len(questions):
            end()
            return
        asked = questions[number]

        def answered(text: str) -> str:
            text = text.strip()
            if text:
                try:
                    read_field(asked.field, text, now)
                    if asked.field == "imaged":
                        outcome({**given, "imaged": text})
                except InputError as error:
                    return f"{error.where} {error.what}.".strip()
                if len(text) > LONGEST:
                    return f"At most {LONGEST} letters."
            # A time is kept to the minute that shows only where it was typed anew.
            same = text == known.get(asked.field, "") and asked.field == "imaged"
            given[asked.field] = "" if same and text else text or CLEAR
            step(number + 1)
            return ""

        ask(asked.words, answered, known.get(asked.field, ""), asked.choices)

    step(0)
