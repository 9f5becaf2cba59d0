"""One examination under way on plain lines, and what each letter does at any of its questions."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING, get_args

from wardexam.anatomy.catalogue import PARTS, Sign
from wardexam.errors import InputError
from wardexam.exam.act_kinds import act_kinds
from wardexam.exam.answers import scales
from wardexam.exam.entry import Change, apply
from wardexam.exam.examination import Examination
from wardexam.exam.findings import Finding, Limb, RestNormal, Side
from wardexam.exam.flags import Flag, flags
from wardexam.exam.late_entry import ASKED
from wardexam.exam.onset import NEW_BEGAN
from wardexam.exam.story import NOT_KNOWN, StoryQuestion, story, told_earlier
from wardexam.exam.swapping import DONE, SAME, in_what, stays, swapped
from wardexam.exam.text import capital, clean, counted
from wardexam.exam.wording import spoken
from wardexam.note.reasons import act_words, by_deadline, named
from wardexam.note.stating import doubts
from wardexam.note.suggestion import contradiction_text
from wardexam.plain import words
from wardexam.plain.talk import LeavingError, Talk
from wardexam.reasoning.rules.contradictions import contradictions
from wardexam.records.outbox import Outbox
from wardexam.visit import WITHDRAWN, Visit

if TYPE_CHECKING:
    from wardexam.reasoning.reading import Reading

KEEP = 2.0  # seconds that an answer waits to be on disk
HELP = """\
Type an answer and press Enter. Enter alone leaves the sign not examined.
a  what may be answered here      n  not testable, with a reason
b  back one question              u  undo the last change
x  take this answer away          l  list what is entered
?  what it may mean               f  ask the red flags
m  choose other signs             g  choose how tendon reflexes are graded
r  the rest of a part was normal  w  withdraw that statement
o  the story: onset, complaint,   k  add a comment
   weight, pain, injury
2/2  right and left at once; a - leaves a side not examined
/  find a sign or question by a few letters: /ptosis, /warfarin
knee 2/0 ankle 2/0 aphasia 2   signs with answers, right/left, several at once
why  every reason of the urgency, and by when
act  write what was done about one of them
made  when it was examined, if before now
swap right and left of all that is entered, after a question
s  save, and print the note       q  leave; the draft is kept
Each letter or word works at every question of a sign."""


@dataclass
class Sitting:
    """A visit spoken: the questions and answers around it.

    Attributes:
        talk: Lines in and out.
        visit: What is entered.
        told: What was said of its urgency last: the gravest reasons, and how many more there are.
        asked: The sign and side of the question that is open.
        waiting: How often it had been changed when a save began to wait for the store; None where none waits.
        graded_of_five: Whether 4/5 means the grade 4 out of 5, and not right 4, left 5; None until it was asked.
        contradicted: What was said last that cannot be both.
    """

    talk: Talk
    visit: Visit
    told: tuple[list[str], list[str]] = field(default_factory=lambda: ([], []))
    asked: tuple[Sign, Side] | None = None
    graded_of_five: bool | None = None
    contradicted: list[str] = field(default_factory=list)
    waiting: int | None = None

    @property
    def examination(self) -> Examination:
        """As far as it has got."""
        return self.visit.examination

    def change(self, change: Change, said: str) -> None:
        """Make one change, have it on disk, and say what it did.

        Raises:
            InputError: The change is not acceptable; nothing has changed.
        """
        self.change_together([(change, said)])

    def change_together(self, made: Sequence[tuple[Change, str]]) -> None:
        """Make several changes as one, have them on disk, and say what they did; nothing of one without words.

        Raises:
            InputError: A change is not acceptable; nothing has changed.
        """
        withdrawn = self.visit.change_together(made)
        self.kept(
            "\n".join([*(said for _, said in made if said), *([WITHDRAWN] if withdrawn else [])])
        )

    def of_five(self, typed: str, sides: str, grade: str, remedy: str) -> bool:
        """Whether a pair of power is a grade out of five, and not right and left; asked once.

        Args:
            typed: What was typed.
            sides: What it is as right and left, in words.
            grade: What it is as a grade.
            remedy: What may be typed instead.

        Raises:
            InputError: It was asked and not answered; nothing has changed.
        """
        if self.graded_of_five is None:
            asked = f"What is meant by {typed}? A number, Enter to leave it:"
            chosen = self.talk.choose(asked, [sides, grade])
            if chosen is None:
                raise InputError("nothing was entered", remedy=remedy)
            self.graded_of_five = chosen == 1
            self.talk.say("It is taken so from now on.")
        return self.graded_of_five

    def undo(self) -> None:
        """Take the last change back and say which it was."""
        if step := self.visit.undo():
            self.kept(f"Undone: {step.said}")
        else:
            self.talk.say("Nothing to undo.")

    def kept(self, said: str) -> None:
        """Have what was changed on disk, say what it was, and the urgency where it is another now."""
        draft = self.visit.draft
        draft.flush(KEEP)
        if draft.problem:
            self.talk.say(draft.problem)
        self.talk.say(said)
        stated = [c.text for c in contradictions(self.examination)]
        new = [c for c in stated if c not in self.contradicted]
        self.talk.say(*(f"{contradiction_text(c)}." for c in new))
        self.contradicted = stated
        self.warn()

    @cached_property
    def _outbox(self) -> Outbox:
        return Outbox(self.visit.session.ward.spool)

    def wait(self, reading: "Reading", why: str) -> None:
        """Keep the save as it is until the store can be reached again."""
        self.waiting = self.visit.entries
        self._outbox.put(self.visit.unsent(reading, why)())

    def waited(self) -> None:
        """No save waits any more."""
        if self.waiting is not None:
            self.waiting = None
            self._outbox.withdraw(self.examination.id)

    def send(self) -> Examination | None:
        """Send the save that waits; what was stored, where the store has taken it.

        One that more was entered after is taken back.
        """
        if self.waiting != self.visit.entries:
            self.waited()
            self.talk.say("What waited is not saved: more was entered. s saves all of it.")
            return None
        for sent in self._outbox.send(self.visit.session.ward):
            if sent.unsent.saved.id != self.examination.id:
                continue
            self.waiting = None
            if sent.refused:
                self.talk.say(f"Not saved: {clean(sent.refused.line)}. The draft is kept.")
            elif isinstance(sent.stored, Examination):
                self.visit.done()
                return sent.stored
        return None

    def warn(self) -> None:
        """Say the urgency when it has changed."""
        reading = self.visit.reading()
        self.visit.notice(reading)
        found = self.visit.case.urgency(reading)
        lines, more = words.urgency(found, self.visit.session.now()), words.more(found)
        if lines and lines != self.told[0]:
            new = self.visit.onset_earlier and any(r.undated for r in found.reasons)
            asks = (f"Ask {NEW_BEGAN}: type o.",) if new else ()
            self.talk.say(*lines, *asks, *more, found.caution)
        elif lines and more != self.told[1]:
            self.talk.say(*more)
        self.told = lines, more

    def rest_normal(self, part: str, limb: str) -> Change:
        """The statement, now, that the rest of a part was examined in a limb and normal."""
        by, at = self.examination.examiner, self.visit.session.now().isoformat()
        return Change(
            "rest_normal", f"{part} {limb}", {"part": part, "limb": limb, "by": by, "at": at}
        )

    def meaning(self) -> None:
        """Say the reading."""
        reading = self.visit.reading()
        found = self.visit.case.urgency(reading)
        lines = [] if found.reasons else [f"Urgency: {found.word}."]
        lines += words.urgency(found, self.visit.session.now())
        self.talk.say(*lines, *words.more(found), found.caution)
        self.talk.say(*words.reading(reading))


def _why(sitting: Sitting) -> None:
    """Say every reason with its deadline and what was done about it."""
    visit = sitting.visit
    found = visit.case.urgency(visit.reading())
    sitting.talk.say(*words.reasons(found, visit.examination.at, visit.session.now()))


def _act(sitting: Sitting) -> None:
    """Take what was done about one of the reasons, in the doctor's words."""
    visit, talk = sitting.visit, sitting.talk
    found = by_deadline(visit.case.urgency(visit.reading()))
    if not found:
        talk.say("No reason stands that something could be done about.")
        return
    options = [named(r, visit.session.now()) for r in found] + (
        ["all of these"] if len(found) > 1 else []
    )
    chosen = talk.choose("About which reason? A number, Enter to leave it:", options)
    if chosen is None:
        return
    reason = found[min(chosen, len(found) - 1)]
    acts = act_kinds()
    kinds = [kind for kind in acts if kind != "lowered" or (reason.lowers and chosen < len(found))]
    said = [
        acts[kind].choice + (f": {reason.lowers}" if kind == "lowered" else "") for kind in kinds
    ]
    done = talk.choose("What was done? A number, Enter to leave it:", said)
    if done is None:
        return
    usual = reason.usual(kinds[done])
    more = f" Enter for: {usual}." if usual else " Enter to leave it."
    text = talk.ask(f"{acts[kinds[done]].asks}{more}")
    if text or usual:
        rules = [r.rule for r in (found if chosen == len(found) else [reason])]
        act = visit.act(rules, kinds[done], text or usual)[0]
        sitting.kept(f"Kept: {act_words(act, visit.examination.at)}.")


def _list(sitting: Sitting) -> None:
    found: tuple[Finding, ...] = sitting.examination.findings
    asked = sitting.examination.flags
    lines = [f"{f.row.name}{words.place(f.side)}: {spoken(f)}" for f in found]
    lines += [f"Red flag, {flags()[name].short}: {value}" for name, value in asked.items()]
    sitting.talk.say(*(lines or ["Nothing is entered yet."]))


def ask_flags(sitting: Sitting) -> None:
    """Ask the red flags; Enter alone leaves one as it is."""
    sitting.talk.say("Red flags: y, n, or Enter alone for not asked.")
    for flag in flags().values():
        ask_flag(sitting, flag)


def ask_flag(sitting: Sitting, flag: Flag) -> None:
    """Ask one red flag; Enter leaves it as it is."""
    known = sitting.examination.flags.get(flag.id)
    answer = sitting.talk.yes(f"{flag.ask}" + (f" Now {known}." if known else ""))
    if answer is not None:
        value = "yes" if answer else "no"
        sitting.change(Change("flag", flag.id, value), f"{flag.short}: {value}.")


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
    stated = next(
        (
            s
            for s in sitting.examination.rest_normal
            if (s.part, s.limb) == (parts[part], limbs[limb])
        ),
        None,
    )
    if stated:
        _take_back(sitting, stated)
        return
    made = sitting.rest_normal(parts[part], limbs[limb])
    stated = apply(sitting.examination, made).rest_normal[-1]
    against = doubts(stated, sitting.examination, sitting.visit.previous)
    sure = f"Was all the rest of the {limbs[limb]} examined, and normal? y or n:"
    if against and not sitting.talk.yes(" ".join([*(f"{said}." for said in against), sure])):
        sitting.talk.say("Nothing was changed.")
        return
    sitting.change(
        made,
        f"Stated: the rest of {parts[part]} in the {limbs[limb]} was examined and normal. w withdraws it.",
    )


def _withdraw(sitting: Sitting) -> None:
    """Withdraw the statement that covers the sign that is asked, else the last that was made."""
    stated = sitting.examination.rest_normal
    if not stated:
        sitting.talk.say("Nothing was stated to be normal, so there is nothing to withdraw.")
        return
    here = sitting.asked
    covering = [s for s in stated if here and s.covers(*here)]
    _take_back(sitting, (covering or stated)[-1])


def _take_back(sitting: Sitting, stated: RestNormal) -> None:
    sitting.change(
        Change("rest_normal", f"{stated.part} {stated.limb}", None),
        f"Withdrawn: the rest of {stated.part} in the {stated.limb}.",
    )


def _story(sitting: Sitting) -> None:
    """Ask what is known beside the signs; Enter alone leaves a thing as it is."""
    for question in story():
        ask_story(sitting, question)


def ask_story(sitting: Sitting, question: StoryQuestion) -> None:
    """Ask one question of the story; Enter leaves it as it is, the last number takes an answer away."""
    known = getattr(sitting.examination.context, question.field)
    told = known != question.unknown
    options = [answer.words for answer in question.answers]
    earlier = told_earlier(question, sitting.visit.previous)
    now_is = f" Earlier: {earlier}." if earlier else ""
    now_is = f" Now {question.words(known)}." if told else now_is
    chosen = sitting.talk.choose(
        f"{question.ask}{now_is} A number, Enter {'leaves it' if told else 'if not known'}:",
        [*options, NOT_KNOWN],
    )
    if chosen is not None:
        codes = [answer.code for answer in question.answers]
        code = codes[chosen] if chosen < len(codes) else question.unknown
        said = f"{capital(question.name)}: {question.words(code)}."
        sitting.change(Change("context", question.field, code), said)


def _swap(sitting: Sitting) -> None:
    """Swap right and left in all that was entered, after a yes."""
    found = sitting.examination
    if not (made := swapped(found)):
        sitting.talk.say(SAME)
        return
    sure = f"Swap right and left in {in_what(found)}? y or n:"
    if not sitting.talk.yes(" ".join([*stays(found), sure])):
        sitting.talk.say("Nothing was changed.")
        return
    first, *others = made
    sitting.change_together([(first, DONE.format(in_what(found))), *((o, "") for o in others)])


def _made(sitting: Sitting) -> None:
    """Take when it was examined, where that was before it is entered."""
    sitting.change(*sitting.visit.made_at(sitting.talk.ask(ASKED)))


def _leave(sitting: Sitting) -> None:
    """Leave; what is in memory only is lost by that, and only on a plain yes."""
    if lost := sitting.visit.draft.unkept(KEEP):
        are = "is" if lost == 1 else "are"
        question = f"{counted(lost, 'answer')} {are} in memory only and would be lost. Leave all the same? y or n:"
        if not sitting.talk.yes(question):
            return
    raise LeavingError


COMMANDS: dict[str, Callable[[Sitting], None]] = {
    "?": Sitting.meaning,
    "u": Sitting.undo,
    "l": _list,
    "f": ask_flags,
    "k": _comment,
    "g": _scale,
    "r": _rest_normal,
    "w": _withdraw,
    "o": _story,
    "why": _why,
    "act": _act,
    "swap": _swap,
    "made": _made,
    "q": _leave,
}
