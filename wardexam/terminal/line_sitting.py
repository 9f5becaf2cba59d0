"""One examination under way on plain lines, and what each letter does at any of its questions."""

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime
from typing import TYPE_CHECKING, get_args

from wardexam.anatomy.catalogue import PARTS
from wardexam.exam.answers import scales
from wardexam.exam.entry import Change, apply, inverse
from wardexam.exam.examination import Complaint, ComplaintSide, Examination, Onset, Patient
from wardexam.exam.findings import Finding, Limb
from wardexam.exam.flags import flags
from wardexam.terminal import line_words
from wardexam.terminal.line_talk import LeavingError, Talk

if TYPE_CHECKING:
    from wardexam.reasoning.engine import Engine
    from wardexam.reasoning.reading import Reading
    from wardexam.reasoning.rules.urgency import Urgency
    from wardexam.reasoning.rules.wording import Wording
    from wardexam.records.repository import DraftWriter, Repository

HELP = """\
Type an answer and press Enter. Enter alone leaves the sign not examined.
a  what may be answered here      n  not testable, with a reason
b  back one question              u  undo the last change
x  take this answer away          l  list what is entered
?  what it may mean               f  ask the red flags
m  choose other signs             g  choose how tendon reflexes are graded
r  the rest of a part was normal  o  onset and complaint, if known
k  add a comment
s  save, and print the note       q  leave; the draft is kept
Each letter works at every question."""


@dataclass
class Sitting:
    """One examination under way: the document, its draft, and what can be undone."""

    talk: Talk
    ward: "Repository"
    patient: Patient
    examination: Examination
    draft: "DraftWriter"
    engine: "Engine"
    previous: Examination | None
    wording: "Wording"
    now: Callable[[], datetime]
    examiner: str
    undos: list[tuple[Change, str]] = field(default_factory=list)
    told: str = ""

    def change(self, change: Change, said: str) -> None:
        """Apply one change, keep it on disk, and say what it did.

        Raises:
            InputError: The change is not acceptable; nothing has changed.
        """
        back = inverse(self.examination, change)
        self._take(change)
        self.undos.append((back, said))
        self.talk.say(said)
        self.warn()

    def undo(self) -> None:
        """Take the last change back and say which it was."""
        if not self.undos:
            self.talk.say("Nothing to undo.")
            return
        back, said = self.undos.pop()
        self._take(back)
        self.talk.say(f"Undone: {said}")
        self.warn()

    def _take(self, change: Change) -> None:
        self.examination = apply(self.examination, change)
        self.draft.append(change)
        self.draft.flush(2.0)
        if self.draft.problem:
            self.talk.say(self.draft.problem)

    def urgency(self, reading: "Reading | None") -> "Urgency":
        """The urgency in the hospital's words."""
        from wardexam.reasoning.rules.urgency import assess

        return assess(self.examination, self.previous, reading, self.wording)

    def warn(self) -> None:
        """Say the urgency when it has changed."""
        lines = line_words.urgency(self.urgency(self.engine.read(self.examination)))
        text = "\n".join(lines)
        if text and text != self.told:
            self.talk.say(*lines)
        self.told = text

    def meaning(self) -> None:
        """Say the reading."""
        reading = self.engine.read(self.examination)
        self.talk.say(*line_words.urgency(self.urgency(reading)))
        self.talk.say(*line_words.reading(reading))


def _list(sitting: Sitting) -> None:
    found: tuple[Finding, ...] = sitting.examination.findings
    asked = sitting.examination.flags
    lines = [f"{f.row.name}{line_words.place(f.side)}: {line_words.answer(f)}" for f in found]
    lines += [f"Red flag, {flags()[name].short}: {value}" for name, value in asked.items()]
    sitting.talk.say(*(lines or ["Nothing is entered yet."]))


def ask_flags(sitting: Sitting) -> None:
    """Ask the red flags; Enter alone leaves one as it is."""
    sitting.talk.say("Red flags: y, n, or Enter alone for not asked.")
    for name, flag in flags().items():
        known = sitting.examination.flags.get(name)
        answer = sitting.talk.yes(f"{flag.ask}" + (f" Now {known}." if known else ""))
        if answer is not None:
            value = "yes" if answer else "no"
            sitting.change(Change("flag", name, value), f"{flag.short}: {value}.")


def _comment(sitting: Sitting) -> None:
    text = sitting.talk.ask("Comment, Enter alone to leave it:")
    if text:
        before = sitting.examination.comment
        whole = f"{before}\n{text}" if before else text
        sitting.change(Change("comment", "", whole), "Comment kept.")


def _scale(sitting: Sitting) -> None:
    known = list(scales().values())
    sitting.talk.say(f"Now: {scales()[sitting.examination.scale].name}.")
    chosen = sitting.talk.choose(
        "Grade tendon reflexes how? A number:", [f"{s.name}: {s.key_line}" for s in known]
    )
    if chosen is not None:
        name = known[chosen].id
        sitting.change(Change("scale", "", name), f"Grading from now on: {known[chosen].name}.")


def _rest_normal(sitting: Sitting) -> None:
    """Take the statement that the rest of a part was examined and normal; again withdraws it."""
    limbs = get_args(Limb)
    parts = [part for part in PARTS if part != "sphincters"]
    part = sitting.talk.choose("You examined the rest of which part, all normal? A number:", parts)
    limb = (
        sitting.talk.choose("In which limb? A number:", list(limbs)) if part is not None else None
    )
    if part is None or limb is None:
        return
    key = f"{parts[part]} {limbs[limb]}"
    if any(f"{s.part} {s.limb}" == key for s in sitting.examination.rest_normal):
        said = f"Withdrawn: the rest of {parts[part]} in the {limbs[limb]}."
        sitting.change(Change("rest_normal", key, None), said)
        return
    row = {
        "part": parts[part],
        "limb": limbs[limb],
        "by": sitting.examination.examiner,
        "at": sitting.now().isoformat(),
    }
    sitting.change(
        Change("rest_normal", key, row),
        f"Stated: the rest of {parts[part]} in the {limbs[limb]} was examined and normal.",
    )


def _context(sitting: Sitting) -> None:
    """Ask what is known beside the signs; Enter alone leaves a thing as it is."""
    for name, question, words in (
        ("onset", "Onset? A number, Enter to leave it:", get_args(Onset)),
        ("complaint", "Complaint? A number, Enter to leave it:", get_args(Complaint)),
        ("complaint_side", "On which side? A number, Enter to leave it:", get_args(ComplaintSide)),
    ):
        chosen = sitting.talk.choose(question, [word.replace("_", " ") for word in words])
        if chosen is not None:
            value = words[chosen]
            said = f"{name.replace('_', ' ')}: {value.replace('_', ' ')}."
            sitting.change(Change("context", name, value), said.capitalize())


def _leave(sitting: Sitting) -> None:
    """Leave; what is in memory only is lost by that, and only on a plain yes."""
    if sitting.draft.sent and not sitting.draft.flush(2.0):
        lost = sitting.draft.sent - sitting.draft.kept
        question = (
            f"{lost} answers are in memory only and would be lost. Leave all the same? y or n:"
        )
        if not sitting.talk.yes(question):
            return
    raise LeavingError


COMMANDS: dict[str, Callable[[Sitting], None]] = {
    "h": lambda sitting: sitting.talk.say(HELP),
    "?": Sitting.meaning,
    "u": Sitting.undo,
    "l": _list,
    "f": ask_flags,
    "k": _comment,
    "g": _scale,
    "r": _rest_normal,
    "o": _context,
    "q": _leave,
}
