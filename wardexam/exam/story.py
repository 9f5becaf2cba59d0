"""The story beside the signs: what is asked of it, with the answers that may be chosen, and why the patient came."""

import re
from typing import Literal, NamedTuple

from wardexam.exam.examination import Complaint, Context, Findings
from wardexam.exam.onset import ONSET, ONSETS

NOT_KNOWN = "not known"  # the answer that takes an answer away
Asked = Literal["onset", "complaint", "complaint_side", "bears_weight", "pain", "trauma"]


class StoryAnswer(NamedTuple):
    """An answer: its code and its words."""

    code: str
    words: str


class StoryQuestion(NamedTuple):
    """A question: the field of `Context` that it fills, its name, how it is asked, its answers."""

    field: Asked
    name: str
    ask: str
    answers: tuple[StoryAnswer, ...]

    @property
    def unknown(self) -> str | None:
        """The value of the field while it is not told."""
        return "unknown" if self.field == "onset" else None

    def words(self, code: str | None) -> str:
        """An answer in words; `NOT_KNOWN` for one that was not told."""
        return next((a.words for a in self.answers if a.code == code), NOT_KNOWN)


_YES_NO = (StoryAnswer("yes", "yes"), StoryAnswer("no", "no"))
COMPLAINTS: tuple[tuple[Complaint, str], ...] = (
    ("weak_leg", "weak leg"), ("weak_arm", "weak arm"), ("weak_one_side", "weak on one side"),
    ("weak_all", "weak all over"), ("face", "weak face"), ("back_pain", "back pain"),
    ("leg_pain", "leg pain"), ("neck_pain", "neck pain"), ("arm_pain", "arm pain"),
    ("numb_hands", "numb hands"), ("numb_feet", "numb feet"), ("numb_one_side", "numb on one side"),
    ("unsteady", "unsteady"), ("dizzy", "dizzy"), ("speech", "speech disturbed"),
    ("vision", "vision disturbed"), ("double_vision", "double vision"), ("headache", "headache"),
    ("fit", "fit"), ("confused", "confused"), ("unconscious", "unconscious"),
    ("after_surgery", "after surgery"), ("bladder", "bladder or bowel"), ("other", "something else"),
)  # fmt: skip
STORY = (
    StoryQuestion(
        "onset",
        ONSET.name,
        ONSET.ask,
        tuple(StoryAnswer(a.code, a.words) for a in ONSETS if a.code != "unknown"),
    ),
    StoryQuestion(
        "complaint",
        "main complaint",
        "What is the main complaint?",
        tuple(StoryAnswer(*c) for c in COMPLAINTS),
    ),
    StoryQuestion(
        "complaint_side",
        "side of the complaint",
        "On which side is it?",
        (
            StoryAnswer("right", "right"),
            StoryAnswer("left", "left"),
            StoryAnswer("both", "both sides"),
            StoryAnswer("none", "neither side"),
        ),
    ),
    StoryQuestion("bears_weight", "bears weight", "Can the patient bear weight?", _YES_NO),
    StoryQuestion(
        "pain",
        "pain",
        "Is there pain, and where?",
        (
            StoryAnswer("none", "no pain"),
            StoryAnswer("head", "head"),
            StoryAnswer("neck", "neck"),
            StoryAnswer("back", "back"),
            StoryAnswer("limb", "arm or leg"),
            StoryAnswer("radiating", "shooting down an arm or leg"),
        ),
    ),
    StoryQuestion("trauma", "injury", "Was there an injury, such as a fall?", _YES_NO),
)

_SET_OFF = r"(?:$|[,;:.(]| (?:since|after|with|and|on|trouble|problems?)\b)"


def told_earlier(asked: StoryQuestion, previous: Findings | None) -> str:
    """What was answered earlier in the stay, in words; empty where nothing was."""
    code = getattr(previous.context, asked.field) if previous else asked.unknown
    return "" if code == asked.unknown else asked.words(code)


def question(field: Asked) -> StoryQuestion:
    """The question that fills a field of `Context`."""
    return next(q for q in STORY if q.field == field)


def told_already(remark: str, complaint: str | None) -> bool:
    """Whether a remark is the complaint in its words, and no more."""
    words = question("complaint").words(complaint) if complaint else ""
    return remark.strip(" .").casefold() == words.casefold()


def reason_text(typed: str) -> str:
    """Why the patient was admitted, as it is kept: a number of the list in its words, other text as it is typed.

    A number is taken alone or before a comma, as in ``1, since Monday``: "2 falls this week" is text.
    """
    text = " ".join(typed.split())
    number, comma, more = text.partition(",")
    if number.isdecimal() and len(number) < 4 and 1 <= int(number) <= len(COMPLAINTS):
        words = COMPLAINTS[int(number) - 1][1]
        return f"{words}, {more.strip()}" if comma and more.strip() else words
    return text


# An injury as it stands in a reason for admission: at its beginning or behind what is set off, never "falls" or "fall risk".
_INJURED = re.compile(
    r"(?:^|[,;:.(+] *|\b(?:after|since|with|and) (?:an? |the )?)"
    r"(?:fall|fell|fallen|head injury|injury|injured|trauma|accident|road accident|assault|assaulted|hit (?:his|her|the) head)"
    r"(?:$|[,;:.)]| (?:since|after|with|and|on|from|off|down|out|at|in|to|today|yesterday|last|this)\b)",
    re.IGNORECASE,
)


def context_of(reason: str, age: int | None, sex: str) -> Context:
    """What is known of a patient's story from the admission alone."""
    injured = "yes" if _INJURED.search(reason.strip()) else None
    told = {"age": age, "sex": sex, "complaint": complaint_in(reason), "trauma": injured}
    return Context.model_validate(told)


def complaint_in(reason: str) -> Complaint | None:
    """The complaint that a reason for admission begins with, in the words of the list; None where it is another.

    What follows a single word, or a part of the body, must be set off from it: "fit for surgery" is no fit.
    """
    for code, words in COMPLAINTS:
        end = r"\b" if " " in words and code != "bladder" else _SET_OFF
        if re.match(f"{words}{end}", reason.strip(), re.IGNORECASE):
            return code
    return None
