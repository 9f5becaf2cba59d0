"""The tour through one examination, typed in the real terminal at 80x24."""

import pytest

from tests.terminal.pty.harness import environ, running, wardexam
from wardexam.terminal.keymap import read_keys
from wardexam.terminal.keys import SCREENS, shown
from wardexam.terminal.tour import LITERAL, STEPS, Tour

BYTES = {"enter": "\r", "space": " ", "escape": "\x1b", "tab": "\t"}
WRONG = "%"  # means nothing on any screen


def sent(step):
    """The keys of a step as a terminal sends them."""
    keys = []
    for key in step.keys:
        if not key.startswith(LITERAL):
            key = next(row.keys[0] for row in SCREENS[step.screen] if row.action == key)
        key = key.removeprefix(LITERAL)
        keys.append(BYTES.get(key, shown(key)))
    return keys


def led(tmp_path):
    return running(wardexam("demo", "--tour"), environ(tmp_path))


@pytest.mark.long
def test_ten_steps_lead_from_the_list_to_the_copied_note(tmp_path):
    assert len(STEPS) == 10
    with led(tmp_path) as session:
        for number, step in enumerate(STEPS, 1):
            session.wait(lambda s, n=number: s.lines[-1].startswith(f"{n} of 10  "))
            assert len(session.lines[-1]) < 80
            session.press(WRONG, "That was %: nothing was done.")
            assert session.lines[-1].startswith(f"{number} of 10  ")
            for key in sent(step):
                session.tap(key)
        session.wait("That was the tour.")
        assert b"\x1b]52;c;" in session.raw
        text = session.text
        assert "NEUROLOGICAL EXAMINATION" in text
        session.press("q", "12 patients")
        assert not session.lines[-1].startswith("That was the tour.")
        session.send("q")
        assert session.ended() == 0


@pytest.mark.long
@pytest.mark.parametrize("after", [0, 1, 5])
def test_escape_leaves_it_and_keys_do_as_always(tmp_path, after):
    with led(tmp_path) as session:
        for number, step in enumerate(STEPS[:after], 1):
            session.wait(f"{number} of 10")
            for key in sent(step):
                session.tap(key)
        session.wait(f"{after + 1} of 10")
        session.press("\x1b", "The tour is left")
        session.wait(lambda s: " of 10  " not in s.lines[-1])
        session.press("?", "Keys")


def test_the_tour_names_the_users_own_keys(tmp_path):
    own = read_keys('[ward]\nopen = "N"\n[examine]\nundo = "T"\n')
    tour = Tour(own)
    assert tour.words.startswith("1 of 10  N opens")
    assert tour.take("enter").startswith("That was enter: nothing was done. Now N;")
    assert tour.take("N") == ""
    assert tour.words.startswith("2 of 10")


def test_each_step_says_every_key_that_it_waits_for():
    tour = Tour(SCREENS)
    for step in STEPS:
        words = tour.words
        assert len(words) < 80
        letters = "".join(key.removeprefix(LITERAL) for key in step.keys if key.startswith(LITERAL))
        for part in letters.replace("enter", " ").split():
            assert part in words
        for key in step.keys:
            if not key.startswith(LITERAL):
                first = next(row.keys[0] for row in SCREENS[step.screen] if row.action == key)
                assert shown(first) in words
                assert tour.take(first) == ""
            else:
                assert tour.take(key.removeprefix(LITERAL)) == ""
    assert tour.words.startswith("That was the tour.")
    assert not tour.left
    assert tour.take("anything") == ""
    assert tour.left
