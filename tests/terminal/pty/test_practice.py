"""Ten practice cases at 80x24, in a real terminal and through a real OpenSSH server: each page says what it is."""

import json
import re
import shlex

import pytest

from tests.terminal.pty.harness import environ, running, wardexam
from tests.terminal.pty.servers import sshd

CASES = 10
TESTED = ("knee, ankle, plantar", "left finger abduction", "cancer")
ANSWERS = ("left brachial plexus", "3", "1", "60")


class Learner:
    """Types one line after another and looks at the screen whenever a question waits."""

    def __init__(self, session):
        self.session, self.asked = session, 0

    def waits(self, wanted):
        """Wait for the next question, and look at the screen."""

        def there(session):
            last = next((line for line in reversed(session.lines) if line), "")
            return re.search(wanted, last) and len(session.raw) > self.asked

        self.session.wait(there)
        self.asked = len(self.session.raw)
        assert "PRACTICE" in self.session.text
        assert len(self.session.lines) == 24

    def types(self, line, wanted):
        """Type a line and wait for the question that comes."""
        self.session.send(f"{line}\r")
        self.waits(wanted)

    def case(self, answers=ANSWERS):
        """One case from its first question to the one after the two ways."""
        for line in TESTED:
            self.types(line, r"Test what\?.*:$")
        self.types("answer", r"Where is it\?.*:$")
        place, urgency, action, sure = answers
        self.types(place, r"How urgent\?.*:$")
        self.types(urgency, r"What first\?.*:$")
        self.types(action, r"per cent\?$")
        self.types(sure, r"Enter for ways.*:$")
        assert re.search(r"It was: ", self.session.text)
        assert "answered." in self.session.text  # the whole of it stands on the screen
        self.types("ways", r"Enter for next.*:$")
        assert "The two ways" in self.session.text


def ten(session, home):
    learner = Learner(session)
    learner.waits(r"Test what\?.*:$")
    for number in range(CASES):
        learner.case()
        if number < CASES - 1:
            learner.types("next", r"Test what\?.*:$")
    learner.types("progress", r"Enter for next.*:$")
    assert "Answered: 10 cases." in session.text
    session.send("q\r")
    assert session.ended() == 0
    # No line was longer than the screen, so that none was broken by it.
    assert max(len(x) for x in session.raw.decode().replace("\r", "").split("\n")) <= 80
    (kept,) = home.rglob("progress.json")
    assert len(json.loads(kept.read_text())["results"]) == CASES
    made = {p.name for p in home.rglob("*") if p.is_file() and "cache" not in str(p)}
    assert not {n for n in made if n.endswith((".jsonl", ".draft")) or n == "ward.json"}


@pytest.mark.long
def test_ten_cases_in_a_real_terminal(tmp_path):
    env = environ(tmp_path)
    with running(wardexam("practise", "--seed", "1", "--level", "3"), env) as session:
        ten(session, tmp_path)


@pytest.mark.long
def test_ten_cases_over_ssh(tmp_path):
    env = environ(tmp_path)
    setting = [f"{n}={env[n]}" for n in ("PYTHONPATH", "XDG_CACHE_HOME", "LANG", "HOME", "TERM") if n in env]  # fmt: skip
    command = [*setting, *wardexam("practise", "--seed", "1")]
    with (
        sshd(tmp_path) as server,
        running(server("exec", "env", *map(shlex.quote, command)), env) as session,
    ):
        ten(session, tmp_path)


@pytest.mark.long
@pytest.mark.parametrize(("key", "code"), [("\x03", 130), ("\x04", 0)])
def test_leaving_by_a_key_keeps_what_was_answered(tmp_path, key, code):
    with running(wardexam("practise", "--published", "h008"), environ(tmp_path)) as session:
        learner = Learner(session)
        learner.waits(r"Test what\?.*:$")
        learner.case()
        learner.types("next", r"Test what\?.*:$")
        session.quiet()  # a signal between the prompt and Python's wait for keys is heard at the next key
        session.send(key)
        session.wait("What you answered is kept.")
        assert session.ended() == code
        (kept,) = tmp_path.rglob("progress.json")
        assert len(json.loads(kept.read_text())["results"]) == 1
        assert "Traceback" not in session.raw.decode()


@pytest.mark.parametrize(("key", "code"), [("\x03", 130), ("\x04", 0)])
def test_leaving_within_an_answer_by_a_key_says_that_it_is_dropped(tmp_path, key, code):
    with running(wardexam("practise", "--published", "h008"), environ(tmp_path)) as session:
        learner = Learner(session)
        learner.waits(r"Test what\?.*:$")
        learner.types("answer", r"Where is it\?.*:$")
        learner.types("left cord", r"How urgent\?.*:$")
        session.quiet()  # as above
        session.send(key)
        session.wait("The answer that you had begun is dropped.")
        assert session.ended() == code
        assert not list(tmp_path.rglob("progress.json"))
