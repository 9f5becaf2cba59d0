"""Practice on plain lines: a patient is told, the learner tests by name, commits, and hears what it was.

No ward is opened and nothing can be written into one: what is kept is the result, by `keep`.
"""

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Literal, TextIO, TypeVar

from wardexam.anatomy.catalogue import PARTS, SEGMENTS, Sign, catalogue, signs_of
from wardexam.errors import WardexamError
from wardexam.exam.findings import Finding, Side, sides_of
from wardexam.exam.flags import flags
from wardexam.exam.looking_up import looked_up
from wardexam.exam.seconds import seconds
from wardexam.exam.sheet import groups, sign_names
from wardexam.exam.text import clean
from wardexam.exam.wording import in_words, named
from wardexam.plain.talk import WIDTH, LeavingError, Talk, Writer
from wardexam.practice import words
from wardexam.practice.case import NOTICE, Case, LesionSide, places
from wardexam.practice.feedback import Answer, Feedback, feedback
from wardexam.practice.path import Walk
from wardexam.practice.progress import results
from wardexam.practice.tables import actions, question_seconds
from wardexam.reasoning.engine import Engine
from wardexam.reasoning.rules.rule_table import WORDS

T = TypeVar("T")
Meant = tuple[Sign, ...] | str  # signs, or a red-flag question
Offer = tuple[Meant, Side | None]
LISTED = 9  # matches that are said
STORY: dict[str, Literal["pain", "trauma"]] = {"pain": "pain", "injury": "trauma"}
SIDES: dict[str, Side] = {"right": "right", "r": "right", "left": "left", "l": "left"}
LESION_SIDES: dict[str, LesionSide] = {
    "r": "right", "right": "right", "l": "left", "left": "left",
    "b": "both", "both": "both", "n": "none", "none": "none",
}  # fmt: skip
URGENCY = ", ".join(f"{n} {word if n else 'none found'}" for n, word in enumerate(WORDS))
URGENCY_WORDS = {word: n for n, word in enumerate(WORDS)} | {"none": 0, "none found": 0, "days": 1}
LEAVES = ("q", "quit", "exit")
BACK = "back"

TESTING = """\
PRACTICE, no real patient. Type what you would test or ask:
  knee            a sign on both sides; several with commas
  left knee       on one side, in half the time
  power_leg       a group of signs
  cancer          a red-flag question, by a few letters of its name
  pain, injury    of the story
  signs PART      the names of the signs of a part: reflexes, power, sensation,
                  movement, sphincters, cranial, provocation, muscle
  questions       the red-flag questions
  seen            what you have found
  answer          commit: where, which side, how urgent, what first, how sure
  skip            leave this case and take the next
  q               leave; what was answered is kept"""
COMMITTING = """\
PRACTICE, no real patient. You commit to one place, its side, how urgent it is,
what is done first, and how sure you are of place and side in per cent.
How urgent is a number or its word: now, today, within days, none.
  back            to the patient, at any of these questions; nothing is kept
  q               leave; the answer that is begun is dropped, as by Ctrl-D"""
AFTER = """\
PRACTICE, no real patient.
  ways        your tests beside the tool's own
  next        the next case
  again       the same case once more; your first answer counts
  progress    how you do over all cases
  q           leave"""


class BackError(Exception):
    """The learner goes back to the patient with an answer begun."""


@dataclass
class Practice:
    """A sitting of practice.

    Attributes:
        talk: Lines in and out.
        engine: The engine.
        cases: Where cases come from.
        keep: Keeps a result; gives what is to be said of it.
        kept: Gives the results that are kept.
        now: The clock.
        begun: Whether an answer is begun and not yet given.
    """

    talk: Talk
    engine: Engine
    cases: Iterator[Case]
    keep: Callable[[dict[str, Any]], str]
    kept: Callable[[], list[dict[str, Any]]]
    now: Callable[[], datetime]
    begun: bool = False
    places: dict[str, str] = field(init=False)

    def __post_init__(self) -> None:
        self.places = places(self.engine.hypotheses)

    def leave(self) -> None:
        """Say what is kept and what is not."""
        dropped = " The answer that you had begun is dropped." if self.begun else ""
        self.talk.say("", f"{NOTICE}.{dropped} What you answered is kept.")


def practise(
    engine: Engine,
    cases: Iterator[Case],
    *,
    keep: Callable[[dict[str, Any]], str],
    kept: Callable[[], list[dict[str, Any]]],
    now: Callable[[], datetime],
    read: TextIO,
    write: Writer,
    width: Callable[[], int] = lambda: WIDTH,
) -> int:
    """Practise case after case until the learner leaves or there is none left.

    Args:
        engine: The engine.
        cases: The cases in their order.
        keep: Keeps a result as a row; gives what is to be said of it.
        kept: Gives the rows that are kept.
        now: The clock.
        read: Where answers come from.
        write: Where questions go.
        width: Gives how many columns a line has.

    Returns:
        0 when left on purpose or at the end; 130 when interrupted. What was answered is kept either way.
    """
    talk = Talk(read, write, width=width, help_words=("h", "help", "?"))
    sitting = Practice(talk, engine, cases, keep, kept, now)
    try:
        case = next(cases, None)
        if case is not None:
            talk.say(f"{NOTICE}. No ward is opened.", words.caution(case))
        while case is not None:
            case = _one(sitting, case)
        talk.say("", f"{NOTICE}. There is no further case.")
    except LeavingError:
        sitting.leave()
    except KeyboardInterrupt:
        sitting.leave()
        return 130
    return 0


def _one(sitting: Practice, case: Case) -> Case | None:
    """One case; the one that comes then."""
    talk = sitting.talk
    talk.say(*words.opening(case))
    walk = Walk(sitting.engine, case)
    answer = _examine(sitting, walk)
    if answer is None:
        talk.say("Left without an answer; nothing is kept of it.")
        return next(sitting.cases, None)
    made = feedback(sitting.engine, case, answer, walk.path)
    talk.say(*words.answered(made, sitting.places))
    try:
        if said := sitting.keep(made.result(sitting.now()).model_dump(mode="json")):
            talk.say(f"{clean(said)}.")
    except WardexamError as error:
        talk.say(f"This result is not kept: {clean(error.line)}.")
    return _after(sitting, made)


def _after(sitting: Practice, made: Feedback) -> Case | None:
    """What is looked at after an answer; the case that comes then."""
    talk, seen = sitting.talk, False
    while True:
        talk.help = AFTER
        usual = "next" if seen else "ways"
        typed = talk.ask(f"PRACTICE. Enter for {usual}; ways, next, again, progress, q:").lower()
        typed = typed or usual
        if typed in LEAVES:
            raise LeavingError
        if typed == "ways":
            talk.say(*words.ways(made))
            seen = True
        elif typed == "next":
            return next(sitting.cases, None)
        elif typed == "again":
            return made.case
        elif typed == "progress":
            _progress(sitting)
        else:
            talk.say("Type ways, next, again, progress or q; ? helps.")


def _progress(sitting: Practice) -> None:
    try:
        sitting.talk.say(*words.progress(*results(sitting.kept())))
    except WardexamError as error:
        sitting.talk.say(f"{NOTICE}. Your progress cannot be read: {clean(error.line)}.")


# -- testing


def _examine(sitting: Practice, walk: Walk) -> Answer | None:
    """Test until the learner commits; None where the case is left."""
    talk = sitting.talk
    offered: list[Offer] = []
    while True:
        talk.help = TESTING
        typed = talk.ask(f"PRACTICE, {walk.seconds} s. Test what? (? helps, answer commits):")
        word = typed.lower()
        if (chosen := _numbered(offered, word)) is not None:
            _do(talk, walk, *chosen)
            offered = []
            continue
        offered = []
        if word in LEAVES:
            raise LeavingError
        if word == "skip":
            return None
        if word in ("answer", "a", "done"):
            if (answer := _commit(sitting)) is not None:
                return answer
            talk.say("Back to the patient.")
        elif word == "seen":
            _seen(sitting, walk)
        elif word == "questions":
            talk.say("; ".join(f.short for f in flags().values()) + "; pain; injury.")
        elif word.split(" ")[0] == "signs":
            _names(talk, word.removeprefix("signs").strip())
        elif not word:
            talk.say("Type a sign such as knee, or answer; ? helps.")
        else:
            for one in _each(typed):
                offered = _test(talk, walk, one) or offered


def _each(typed: str) -> list[str]:
    """What was typed with commas, each alone; a name that holds one, such as ``tone, arm``, is whole."""
    pieces = [piece.strip() for piece in typed.split(",") if piece.strip()]
    return [typed.replace(",", "")] if _signs(typed.replace(",", "")) else pieces


def _names(talk: Talk, part: str) -> None:
    """The names of the signs of a part."""
    if part not in PARTS:
        talk.say(f"Type signs and one of: {', '.join(PARTS)}.")
        return
    talk.say("; ".join(s.name for s in signs_of(part)) + ".")


def _seen(sitting: Practice, walk: Walk) -> None:
    """What was found so far."""
    path = walk.path
    if not path.steps:
        sitting.talk.say("Nothing yet.")
        return
    sitting.talk.say(f"{'; '.join(s.text for s in path.steps)}.")


def _numbered(offered: list[T], typed: str) -> T | None:
    """What was offered under a number; None where no number of the list was typed."""
    number = int(typed) if typed.isdecimal() and len(typed) < 4 else 0
    return offered[number - 1] if 0 < number <= len(offered) else None


def _signs(name: str) -> tuple[Sign, ...]:
    """The signs that are called so in full, one or a group; none where none is."""
    one = sign_names().get("_".join(name.lower().split()).replace("-", "_"))
    return () if one is None else tuple(catalogue()[s] for s in groups().get(one, (one,)))


def _test(talk: Talk, walk: Walk, typed: str) -> list[Offer]:
    """Test or ask one thing that was typed, and say what it shows and took; what is offered where several are meant."""
    text = " ".join(typed.lower().split())
    if text in STORY:
        _hear(talk, walk, STORY[text])
        return []
    first, _, rest = text.partition(" ")
    side = SIDES.get(first) if rest else None
    name = rest if side or (first == "both" and rest) else text
    if signs := _signs(name):
        _do(talk, walk, signs, side)
        return []
    found = [n for n in looked_up(name) if n.kind != "onset"]
    if not found:
        talk.say(f"Nothing is called '{clean(name)}'; 'signs power' lists names, ? helps.")
        return []
    offers: list[Offer] = [
        (n.id if n.kind == "flag" else (catalogue()[n.id],), side) for n in found[:LISTED]
    ]
    if len(found) == 1 or found[0].name.lower() == name:
        _do(talk, walk, *offers[0])
        return []
    talk.say(
        *(
            f"{n}. {w.name}{', a question' if w.kind == 'flag' else ''}"
            for n, w in enumerate(found[:LISTED], 1)
        ),
        f"{len(found)} fit '{clean(name)}': type one of these numbers, or more of the name.",
    )
    return offers


def _do(talk: Talk, walk: Walk, meant: Meant, side: Side | None) -> None:
    """Test signs, or ask a flag."""
    if isinstance(meant, str):
        _ask(talk, walk, meant)
        return
    for sign in meant:
        _show(talk, walk, sign, side)


def _show(talk: Talk, walk: Walk, sign: Sign, side: Side | None) -> None:
    """What a sign shows, on the side that was said or on both."""
    wanted = sides_of(sign)
    if side and sign.sides == "each":
        wanted = (side,)
    new = [s for s in wanted if walk.found.finding(sign.id, s) is None]
    found = tuple(f for s in new if (f := walk.case.shown(sign, s)) is not None)
    if found:
        walk.test(found)
        took = len(found) * seconds(sign.id)
        talk.say(f"{_said(found)}. ({took} s)")
    elif new:
        talk.say(f"{sign.name}: the text does not tell. (0 s)")
    else:
        old = tuple(f for s in wanted if (f := walk.found.finding(sign.id, s)) is not None)
        talk.say(f"{_said(old)}, as before. (0 s)")


def _said(found: tuple[Finding, ...]) -> str:
    """What a sign showed, as it is written of a patient."""
    first = found[0]
    if len(found) == 1:
        return f"{named(first)}: {in_words(first)}"
    right, left = (in_words(f) for f in found)
    if right == left:
        return f"{first.row.name}, both sides: {right}"
    return f"{first.row.name}: right {right}, left {left}"


def _ask(talk: Talk, walk: Walk, flag: str) -> None:
    """What a red-flag question is answered."""
    row, known = flags()[flag], walk.found.flags.get(flag)
    answer = walk.case.answered(flag)
    if known is not None:
        talk.say(f"{row.ask} {known.capitalize()}, as before. (0 s)")
    elif answer is None:
        talk.say(f"{row.ask} The text does not tell. (0 s)")
    else:
        took = question_seconds("flag")
        walk.ask(flag, answer, took)
        talk.say(f"{row.ask} {answer.capitalize()}. ({took} s)")


def _hear(talk: Talk, walk: Walk, asked: Literal["pain", "trauma"]) -> None:
    """What is told of pain or injury."""
    if getattr(walk.case.context, asked) is None:
        talk.say("The text does not tell. (0 s)")
        return
    if getattr(walk.found.context, asked) is None:
        walk.hear(asked, question_seconds("story"))
        talk.say(f"{walk.path.steps[-1].text}. ({question_seconds('story')} s)")
    else:
        talk.say("That was told already; seen says what you have found. (0 s)")


# -- committing


def _commit(sitting: Practice) -> Answer | None:
    """The answer; None where the learner goes back to the patient."""
    sitting.talk.help = COMMITTING
    sitting.begun = True
    try:
        answer = _answer(sitting.talk, sitting.places)
    except BackError:
        answer = None
    sitting.begun = False
    return answer


def _answer(talk: Talk, known: dict[str, str]) -> Answer:
    """The answer, question by question."""
    place, side, level = _where(talk, known)
    while side is None:
        side = LESION_SIDES.get(_heard(talk, "PRACTICE. Which side? r, l, b both, n none:").lower())
        if side is None:
            talk.say("Type r, l, b or n; or back.")
    urgency = _urgency(talk)
    action = _action(talk)
    sure = None
    while sure is None:
        typed = _heard(talk, "PRACTICE. How sure of place and side, 0 to 100 per cent?")
        sure = _number(typed.removesuffix("%").strip(), 100)
        if sure is None:
            talk.say("Type a whole number from 0 to 100; or back.")
    return Answer(place, side, urgency, action, sure, level)


def _heard(talk: Talk, question: str) -> str:
    """What was typed at a question of the answer.

    Raises:
        BackError: To go back to the patient.
        LeavingError: To leave.
    """
    typed = talk.ask(question)
    if typed.lower() == BACK:
        raise BackError
    if typed.lower() in LEAVES:
        raise LeavingError
    return typed


def _number(typed: str, most: int) -> int | None:
    """A whole number, 0 to so many; None where none was typed."""
    fits = typed.isdecimal() and len(typed) < 4 and int(typed) <= most
    return int(typed) if fits else None


def _urgency(talk: Talk) -> int:
    """How urgent, by its number or its word."""
    while True:
        typed = " ".join(_heard(talk, f"PRACTICE. How urgent? {URGENCY}:").lower().split())
        urgency = _number(typed, len(WORDS) - 1)
        urgency = URGENCY_WORDS.get(typed) if urgency is None else urgency
        if urgency is not None:
            return urgency
        talk.say(
            f"Type a number from 0 to {len(WORDS) - 1}, or now, today, within days, none; or back."
        )


def _action(talk: Talk) -> str:
    """What is done first."""
    talk.say(*(f"{n}. {row.words}" for n, row in enumerate(actions().values(), 1)))
    while True:
        typed = _heard(talk, "PRACTICE. What first? A number, or back:")
        if (action := _numbered(list(actions()), typed)) is not None:
            return action
        talk.say(f"Type a number from 1 to {len(actions())} for what you would do first; or back.")


def _where(talk: Talk, known: dict[str, str]) -> tuple[str, LesionSide | None, str]:
    """The place, with its side and segment where they were typed with it."""
    offered, level = list[str](), ""
    side: LesionSide | None = None
    while True:
        typed = _heard(talk, "PRACTICE. Where is it? (as left S1 root; l lists; back):")
        if not typed:
            raise BackError
        if (place := _numbered(offered, typed)) is not None:
            return place, side, level
        if typed.lower() in ("l", "list"):
            talk.say(words.known_places(known))
            continue
        side, level, name = _place_words(typed)
        offered = _fitting(known, name)
        if len(offered) == 1:
            return offered[0], side, level
        if not 0 < len(offered) <= LISTED:
            many = (
                f"{len(offered)} places fit" if offered else f"No place is called '{clean(typed)}'"
            )
            talk.say(f"{many}; l lists them.")
            offered = []
            continue
        talk.say(
            *(f"{n}. {known[p]}" for n, p in enumerate(offered, 1)),
            "Type one of these numbers, or more of the name.",
        )


def _place_words(typed: str) -> tuple[LesionSide | None, str, str]:
    """A typed place as its side, its segment and the rest; side or segment only where one was typed."""
    side: LesionSide | None = None
    level, rest = "", list[str]()
    for word in re.findall(r"[a-z0-9]+", typed.lower()):
        if word in ("right", "left"):
            side = LESION_SIDES[word]
        elif word.upper() in SEGMENTS:
            level = word.upper()
        else:
            rest.append(word)
    return side, level, " ".join(rest)


def _fitting(known: dict[str, str], name: str) -> list[str]:
    """The places that are meant: the one called so in full, else those in which most of the words typed begin one.

    A word that no place begins with, such as ``trunk`` or ``of``, is passed over.
    """
    spoken = {p: re.sub("[^a-z0-9 ]", "", w.lower()).split() for p, w in known.items()}
    whole = [p for p, own in spoken.items() if name in (" ".join(own), p)]
    if whole:
        return whole
    met = {
        p: sum(any(w.startswith(t) for w in own) for t in name.split()) for p, own in spoken.items()
    }
    most = max(met.values())
    return [p for p, count in met.items() if count == most] if most else []
