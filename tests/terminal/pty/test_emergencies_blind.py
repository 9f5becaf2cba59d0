"""Ten emergencies scripted without sight of the rules: the first action and its time, wherever it is read.

What must be read was written down before the command was run (`emergencies.toml`). Where the command
says something else the expectation stands and the test is expected to fail, with the reason.
"""

import io
import itertools
import os
import re
import subprocess
import tomllib
from collections import deque
from contextlib import redirect_stdout
from pathlib import Path

import pytest

from tests.terminal.admitting import admission
from tests.terminal.pty.harness import LONG, environ, kept, running, wardexam
from wardexam.commands.main import run
from wardexam.exam.flags import flags
from wardexam.exam.row_sets import row_sets

CASES = {
    case["id"]: case
    for case in tomllib.loads(
        (Path(__file__).parent / "emergencies.toml").read_text(encoding="utf-8")
    )["emergency"]
}
MOST_KEYS = 15
LEVELS = {"emergency": "now"}  # the word on every screen and paper for what cannot wait
LIMITS = {"minutes": 30, "1 h": 60, "4 h": 240, "8 h": 480, "24 h": 1440, "today": 1440}
REASON = re.compile(r"^  (?:NOW|TODAY|WITHIN DAYS|WITHIN \d+ H)")


# -- what is read


def has(stems, text):
    """Whether any of the stems begins a word of the text; ``none`` is an image that is not to come first."""
    text = text.lower()
    return any(
        re.search(r"\bno(?:ne| image) first|do not wait for an image", text)
        if stem == "none"
        else re.search(rf"\b{re.escape(stem)}", text)
        for stem in stems
    )


def limits(stems, text):
    """The limit over the whole reason, then any that stands at the first measure itself; in minutes."""
    found = re.search(r"within (minutes|\d+ h)", text.lower())
    own = [
        m[1]
        for stem in stems
        for m in re.finditer(rf"\b{re.escape(stem)}\w* within (minutes|\d+ h)", text.lower())
    ]
    return [LIMITS.get(word, 10**6) for word in [found[1] if found else "never", *own]]


def missing(case, text, *what):
    """Which of the facts one reason, as it is read, does not give."""
    facts = {
        "level": text.lower().startswith(LEVELS[case["level"]]),
        "first": has(case["first"], text),
        "limit": max(limits(case["first"], text)) <= LIMITS[case["limit"]],
        "image": has(case["image"], text),
        "call": has(case["call"], text),
    }
    return [fact for fact in what if not facts[fact]]


ALL = ("level", "first", "limit", "image", "call")


def panel(lines):
    """The urgency above and beside the signs, as one line of text."""
    beside = [line.split("│", 1)[1].strip() for line in lines[2:] if "│" in line[:50]]
    return " ".join([lines[1].strip(), *beside[: beside.index("Where (suggestion)")]]).strip()


def why(text):
    """The first of the reasons whole: level, limit, first measure, image and call."""
    row = re.search(r"►1 ([A-Z0-9 ]+?)  +", text)
    assert row, text
    parts = {
        name: re.sub(r"\s+", " ", found[1])
        for name in ("First", "Image", "Call", "By")
        if (found := re.search(rf"^{name} +(.*(?:\n {{11}}.*)*)", text, re.MULTILINE))
    }
    return f"{row[1]}, {parts['By']}. {parts['First']}; {parts['Image']}; {parts['Call']}"


def first_reason(text):
    """The first reason of a paper, as one line of text."""
    lines = text.splitlines()
    at = next(n for n, line in enumerate(lines) if REASON.match(line))
    more = []
    for line in lines[at + 1 :]:
        if not line.startswith("    "):
            break
        more.append(line)
    return " ".join(line.strip() for line in (lines[at], *more))


# -- the command on the screen, one session for each emergency


def count(session):
    """How many changes are on disk; -1 where the bottom line does not say that they are."""
    return session.changes if re.search(r"kept \d\d:\d\d", session.text) else -1


def admit_and_open(session, age):
    """Admit an invented patient and open the first examination."""
    session.wait("The ward is empty")
    session.type(admission("B7", "Mo Invented", "40-1", str(age)))
    session.wait("Admitted")
    session.press("\r", "When did it begin")


def type_keys(session, keys, changes):
    """Type the keys one by one, until their changes are kept and the screen rests."""
    for key in keys:
        session.tap(key)
    session.wait(lambda seen: count(seen) == changes)
    session.quiet()


def reasons(session):
    """The screen of the reasons, and back."""
    session.press("!", "Why now")
    session.quiet()
    shown = session.text
    session.press("q", "Rules nothing out")
    session.quiet()
    return shown


# Every second stands for the others, which take six seconds each.
@pytest.fixture(
    scope="module",
    params=[pytest.param(name, marks=[pytest.mark.long] * (n % 2)) for n, name in enumerate(CASES)],
)
def case(request):
    """An emergency; all that is asked of one is run together."""
    return CASES[request.param]


@pytest.fixture(scope="module")
def seen(case, tmp_path_factory):
    """What was read of an emergency: after its keys, after all its items, in the note and the handover."""
    home = tmp_path_factory.mktemp("ward")
    env = environ(home, WARDEXAM_DB=str(home / "ward"))
    with running(wardexam(), env) as session:
        admit_and_open(session, case["age"])
        type_keys(session, case["keys"], case["changes"])
        got = {"keys": panel(session.lines), "why": why(reasons(session))}
        for key in case["more"]:
            session.tap(key)
        session.quiet()
        got |= {"whole": panel(session.lines), "whole why": why(reasons(session))}
        session.press("s", "NEUROLOGICAL EXAMINATION")
        got["note"] = session.text
        session.send("qq")
        assert session.ended() == 0
    with pytest.MonkeyPatch.context() as patch:
        for name in ("XDG_STATE_HOME", "XDG_CONFIG_HOME"):
            patch.delenv(name, raising=False)
        for name, value in env.items():
            patch.setenv(name, value)
        for paper in ("handover", "beds"):
            with redirect_stdout(io.StringIO()) as said:
                assert run([paper]) == 0
            got[paper] = said.getvalue()
    return got


def test_the_first_action_and_its_time_stand_there_within_fifteen_keys(case, seen):
    assert len(case["keys"]) <= MOST_KEYS
    shown = seen["keys"]
    assert not missing(case, shown, "level", "first", "limit"), shown


def test_it_still_stands_there_when_every_item_is_entered(case, seen):
    shown = seen["whole"]
    assert not missing(case, shown, "level", "first", "limit"), shown


def test_the_screen_and_the_reasons_begin_with_the_same_measure(seen):
    first = seen["whole why"].split(". ", 1)[1].split(";")[0]
    assert first in seen["whole"], (first, seen["whole"])


def test_the_reasons_show_image_and_call(case, seen):
    for moment in ("why", "whole why"):
        shown = seen[moment]
        assert not missing(case, shown, *ALL), (moment, shown)


def test_the_note_begins_with_it(case, seen):
    note = seen["note"]
    lines = note.splitlines()
    who = next(n for n, line in enumerate(lines) if line.startswith("Mo Invented, "))
    assert lines[who + 1].startswith("Urgency: ")
    assert not missing(case, top_and_first(note), *ALL), note


def top_and_first(note):
    """What a note says at its top, and of the first reason, where that does not stand there whole."""
    lines = note.splitlines()
    at = next(n for n, line in enumerate(lines) if line.startswith("Urgency: "))
    top = list(itertools.takewhile(lambda line: line.startswith("  "), lines[at + 1 :]))
    reasons = "\n".join(lines[at + 1 + len(top) :])
    more = first_reason(reasons) if re.search(REASON.pattern, reasons, re.MULTILINE) else ""
    return " ".join(" ".join((lines[at], *top, more)).split()).removeprefix("Urgency: ")


def test_the_handover_says_it(case, seen):
    sheet = seen["handover"]
    assert not missing(case, first_reason(sheet), *ALL), sheet


def test_the_list_of_beds_gives_the_measure_that_the_handover_begins_with(seen):
    found = re.search(r"now; due (?:\d\d \w{3} )?\d\d:\d\d ([^;,.]+)", seen["beds"])
    assert found, seen["beds"]
    assert found[1].strip() in first_reason(seen["handover"]).lower(), found[1]


# -- the line mode


class Lines:
    """The line mode through pipes: answers each question when it is asked, and keeps what was said.

    Attributes:
        said: Everything that was said.
        asked: The questions of signs, without their numbers.

    """

    def __init__(self, case, sets, names=()):
        self.said = ""
        self.asked = []
        self._case = case
        self._sets = deque(sets)
        self._names = deque(names)  # found by name after the sets
        self._first = deque(("o", "f") if case else ())
        self._last = deque(("why", "s"))
        self._flags = {flag.ask: name for name, flag in flags().items()}

    def run(self, env):
        """Hold the conversation to its end, each question on one line."""
        env = {**env, "COLUMNS": "500"}
        with subprocess.Popen(
            wardexam("enter"), stdin=subprocess.PIPE, stdout=subprocess.PIPE, env=env
        ) as process:
            assert process.stdin
            assert process.stdout
            while piece := os.read(process.stdout.fileno(), 65536):
                self.said += piece.decode()
                question = self.said.rsplit("\n", 1)[-1]
                if question.endswith((": ", "? ")):
                    answer = self.answer(question.strip())
                    self.said += f"[{answer}]\n"
                    process.stdin.write(f"{answer}\n".encode())
                    process.stdin.flush()
            assert process.wait(LONG) == 0, self.said

    def answer(self, question):
        """What is typed at this question."""
        admitting = {
            "Bed:": "B7",
            "Name:": "Mo Invented",
            "Hospital number, Enter if unknown:": "40-1",
            "Age in years, Enter if unknown:": str(self._case["age"]) if self._case else "50",
            "Save now? y or n:": "y",
        }
        if question in admitting:
            return admitting[question]
        if question.startswith("Which signs?"):
            return str(list(row_sets()).index(self._sets.popleft()) + 1)
        if self._case and question.startswith("When did it begin?"):
            onsets = ("sudden", "hours", "waking", "days", "weeks", "longer")
            return str(onsets.index(self._case["line"]["onset"]) + 1)
        if question in self._flags:
            return "y" if self._flags[question] in self._case["line"]["flags"] else ""
        if question.startswith("That was the last."):
            if self._sets:
                return "m"
            return f"/{self._names.popleft()}" if self._names else self._last.popleft()
        if found := re.match(r"\d+ of \d+\. (.*):$", question):
            if self._first:
                return self._first.popleft()
            self.asked.append(found[1])
            return self._sign(found[1])
        return "n" if question.endswith("y or n:") else ""

    def _sign(self, question):
        wanted = self._case["line"]["signs"] if self._case else {}
        return next(
            (typed for name, typed in wanted.items() if f"{question},".startswith(f"{name},")), ""
        )


def by_name(names):
    """The sets that have these names."""
    return [next(s.id for s in row_sets().values() if s.name == name) for name in names]


def test_the_line_mode_says_it(case, tmp_path):
    talk = Lines(case, by_name(case["line"]["sets"]))
    talk.run(environ(tmp_path, WARDEXAM_DB=str(tmp_path / "ward")))
    for name in case["line"]["signs"]:
        assert any(f"{asked},".startswith(f"{name},") for asked in talk.asked), name
    told, _, note = talk.said.partition("[why]")[2].partition("The note:")
    spoken = next(line for line in told.splitlines() if line.startswith(("NOW", "TODAY", "WITHIN")))
    assert not missing(case, spoken, *ALL), told
    assert not missing(case, top_and_first(note), *ALL), note


# What stands in none of its sets.
CANNOT = sorted({name for case in CASES.values() for name in case["line"]["cannot"]})


@pytest.fixture(scope="module")
def asked(tmp_path_factory):
    """Every question of a sign that the line mode asks: in all its sets, and found by its name."""
    home = tmp_path_factory.mktemp("lines")
    talk = Lines(None, list(row_sets()), CANNOT)
    talk.run(environ(home, WARDEXAM_DB=str(home / "ward")))
    return talk.asked


@pytest.mark.long
@pytest.mark.parametrize("name", CANNOT)
def test_the_line_mode_takes_what_the_screen_takes(name, asked):
    assert any(f"{question},".startswith(f"{name},") for question in asked)


# -- what was met on the way


@pytest.fixture
def opened(tmp_path):
    """A first examination just opened, of a patient of 52."""
    with running(wardexam(), environ(tmp_path, WARDEXAM_DB=str(tmp_path / "ward"))) as session:
        admit_and_open(session, 52)
        yield session


@pytest.mark.long
def test_known_myasthenia_gives_the_breathless_no_more_time(opened):
    type_keys(opened, "4/bre\r1", 2)
    before = panel(opened.lines)
    assert limits((), before) == [LIMITS["minutes"]]
    type_keys(opened, "/mya\r1", 3)
    assert limits((), panel(opened.lines)) == [LIMITS["minutes"]]


@pytest.mark.long
@pytest.mark.parametrize("case", ["painful-third-nerve"], indirect=True)
@pytest.mark.parametrize("where", ["whole", "whole why", "handover"])
def test_a_painful_third_nerve_keeps_its_angiogram(where, seen):
    text = first_reason(seen[where]) if where == "handover" else seen[where]
    assert has(["cta", "angiogra"], text), text


@pytest.mark.long
def test_a_fit_that_may_be_going_on_is_not_left_for_hours(opened):
    type_keys(opened, "1/fit\r1", 2)
    shown = panel(opened.lines)
    assert limits((), shown) == [LIMITS["minutes"]], shown


@pytest.mark.long
def test_no_reason_for_today_stands_before_one_for_now(opened):
    type_keys(opened, "4/canc\r1/bot\r1", 3)
    levels = re.findall(r"^[► ]\d ([A-Z0-9 ]+?)  +", reasons(opened), re.MULTILINE)
    order = {"NOW": 0, "TODAY": 1, "WITHIN DAYS": 2}  # and "WITHIN 12 H", a today after midnight
    ranks = [1 if re.fullmatch(r"WITHIN \d+ H", level) else order[level] for level in levels]
    assert len(ranks) > 1
    assert ranks == sorted(ranks), levels


# What a doctor types after the slash, and what must stand first of all that is found.
WORDS = {
    "saddle": "saddle sensation",
    "sad": "saddle sensation",
    "dysphagia": "swallowing impaired",
    "dysph": "swallowing impaired",
    "neck flexion": "neck flexion",
    "neck f": "neck flexion",
    "arm weak": "elbow flexion",
    "leg weak": "hip flexion",
    "jaw pain": "jaw, scalp",
    "apixaban": "anticoagulant",
    "plaster": "tense limb",
    "neck pain": "trauma",
}


@pytest.mark.long
def test_what_a_doctor_types_finds_what_is_meant(opened):
    opened.press("4", kept(1))
    for word, first in WORDS.items():
        opened.press("/", "Find:")
        opened.send(word)
        opened.wait(f"Find: {word}")
        opened.quiet()
        meant = rf"► 1 {re.escape(first)}  "
        assert any(re.search(meant, line) for line in opened.lines), opened.text
        opened.press("\x1b", lambda s: "Find:" not in s.text)


def test_the_line_mode_helps_at_its_first_question(tmp_path):
    said = subprocess.run(
        wardexam("enter"),
        input="h\n",
        env=environ(tmp_path, WARDEXAM_DB=str(tmp_path / "ward")),
        capture_output=True,
        text=True,
        check=True,
        timeout=LONG,
    ).stdout
    assert "Bed: Name:" not in said
