"""The store goes away while plain lines are talked, and comes back: what was entered is saved once."""

import itertools
from datetime import timedelta

import pytest

from tests.plain.test_conversation import ADMIT, FINISH, GRADES, START, answers, stored, talk
from tests.records.memory import MemoryWard
from tests.records.wrapped import Losing, Wrapped
from wardexam.plain.conversation import converse
from wardexam.records.locks import BusyError
from wardexam.records.outbox import Outbox
from wardexam.records.repository import OutageError
from wardexam.records.ward import open_ward
from wardexam.session import Session


def keeper(kind, folder):
    return MemoryWard() if kind == "memory" else open_ward(folder)


class Insisting:
    """Somebody who answers y whenever asked to try again, and else as told."""

    def __init__(self, *told):
        self.told, self.heard = [*told], ""

    def write(self, text):
        self.heard = text if text.strip() else self.heard
        return len(text)

    def flush(self):
        pass

    def readline(self, *_):
        if "Try again?" in self.heard:
            return "y\n"
        return f"{self.told.pop(0)}\n" if self.told else ""


def converse_with(ward, somebody):
    clock, ids = itertools.count(), (f"test{n:012d}" for n in itertools.count())
    return converse(
        Session(ward, "Dr Test", lambda: START + timedelta(minutes=next(clock)), lambda: next(ids)),
        read=somebody,
        write=somebody,
    )


SCRIPT = [*ADMIT, "", *GRADES, *FINISH]


@pytest.mark.long
@pytest.mark.parametrize(
    ("kind", "how"),
    [
        ("folder", "after"),
        ("memory", "before"),
        pytest.param("folder", "before", marks=pytest.mark.long),
        pytest.param("memory", "after", marks=pytest.mark.long),
    ],
)
def test_lost_at_each_call_in_turn_what_was_entered_is_saved_once(tmp_path, kind, how):
    losing = Losing()
    converse_with(Wrapped(keeper(kind, tmp_path / "first"), losing), Insisting(*SCRIPT))
    count = len(losing.made)
    assert count > 6
    lost = set()
    for at in range(count):
        losing = Losing(at, how)
        ward = keeper(kind, tmp_path / f"ward{at}")
        # Where it is told that the save waits, the next question is left open and the one after that.
        converse_with(Wrapped(ward, losing), Insisting(*SCRIPT, "", ""))
        lost |= {*losing.lost}
        found = answers(stored(ward))
        assert len(found) == len(GRADES), (at, losing.lost)
        assert Outbox(ward.spool).names() == []
        if {"start_draft", "drop_draft"}.isdisjoint(losing.lost):
            assert ward.drafts() == (), (at, losing.lost)
    assert {"beds", "admit", "opened", "start_draft", "file", "save", "drop_draft"} <= lost


def test_a_save_that_waits_is_said_kept_and_sent_at_the_next_start(tmp_path):
    ward = open_ward(tmp_path / "ward")

    class Away(Losing):
        """Away from the first save on."""

        def __call__(self, name, call):
            self.away = self.away or name == "save"
            return super().__call__(name, call)

    away = Away()
    made = Wrapped(ward, away)
    code, said = talk(made, *ADMIT, "", *GRADES, *FINISH, "q")
    assert code == 0
    assert "Not saved yet: the ward's store cannot be reached." in said
    assert "The save waits for the ward's store" in said.split("Not saved yet")[1]
    (bed,) = ward.beds()
    assert ward.examinations(bed.patient_id) == ()
    assert len(Outbox(ward.spool).names()) == 1
    code, said = talk(ward, "n", "1", "", "q")
    assert "An examination that waited for the ward's store is saved." in said
    assert len(answers(stored(ward))) == len(GRADES)
    assert Outbox(ward.spool).names() == []


def test_more_entered_while_a_save_waits_is_saved_with_it_when_asked(tmp_path):
    ward = open_ward(tmp_path / "ward")

    class Once(Losing):
        """Away for the first tries to save."""

        tries = 0

        def __call__(self, name, call):
            self.tries += name == "save"
            self.away = name == "save" and self.tries <= 3
            return super().__call__(name, call)

    more = ["k", "later words", *FINISH]
    code, said = talk(Wrapped(ward, Once()), *ADMIT, "", *GRADES, *FINISH, *more)
    assert code == 0
    assert "What waited is not saved: more was entered." in said
    assert "Saved. The note:" in said
    assert stored(ward).comment == "later words"
    assert Outbox(ward.spool).names() == []


def test_an_admission_that_another_session_holds_up_is_tried_again_with_what_was_typed(tmp_path):
    ward, tries = open_ward(tmp_path / "ward"), itertools.count()

    def held_up_once(name, call):
        if name == "admit" and next(tries) == 0:
            raise BusyError("Dr Bex", "lists")
        return call()

    code, said = talk(Wrapped(ward, held_up_once), *ADMIT[:-1], "y", "", "q")
    assert code == 0
    assert "Not done: is being saved by Dr Bex" in said
    assert "Try again? y or n:" in said
    assert [bed.name for bed in ward.beds()] == ["Invented Person"]


def test_who_does_not_try_again_ends_in_one_line(tmp_path):
    losing = Losing()
    losing.away = True
    with pytest.raises(OutageError, match="cannot be reached"):
        talk(Wrapped(open_ward(tmp_path / "ward"), losing), "n")
