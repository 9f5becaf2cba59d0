"""The newest request is answered, what may come next is read ahead, a fault is no reading."""

import asyncio
import threading
import time
from datetime import UTC, datetime, timedelta

import pytest

from tests.examinations import examined
from tests.terminal.screens import demo_app, settled
from wardexam import ready
from wardexam.exam.entry import Change, apply
from wardexam.exam.examination import Examination
from wardexam.reasoning.rules.standing import earlier as standing_earlier
from wardexam.terminal.thinking import KEPT, Thinking, essence

GRADES = ("0", "1+", "2+", "3+", "4+")


def examination(*numbers):
    made = Examination(
        id="e0000001", patient="p0000001", examiner="Dr Test", at=datetime(2026, 3, 4, tzinfo=UTC)
    )
    for sign, number in zip(("biceps", "triceps", "knee", "ankle"), numbers, strict=False):
        answer = GRADES[int(number)]
        value = {"sign": sign, "side": "right", "answer": answer, "scale": "conventional"}
        made = apply(made, Change("finding", f"{sign} right", value))
    return made


class Reader:
    """Stands in for the engine: counts what it was asked, and waits when told to."""

    def __init__(self):
        self.read_of, self.go = [], threading.Event()
        self.go.set()

    def read(self, examination, *, silence, earlier):
        assert silence is False
        assert earlier is None
        self.go.wait(10)
        if examination.comment == "broken":
            raise RuntimeError("broken")
        self.read_of.append(examination)
        return ("reading of", examination)


@pytest.fixture
def reader(monkeypatch):
    made = Reader()
    monkeypatch.setattr(ready, "engine", lambda: made)
    monkeypatch.setattr("os.getloadavg", lambda: (0.0, 0.0, 0.0))  # whatever else the machine does
    return made


class Answers:
    """Collects what the thread answers."""

    def __init__(self):
        self.all, self._came = [], threading.Condition()

    def __call__(self, number, reading):
        with self._came:
            self.all.append((number, reading))
            self._came.notify_all()

    def wait(self, number):
        with self._came:
            assert self._came.wait_for(lambda: [n for n, _ in self.all if n == number], 10)
        return dict(self.all)[number]


def test_only_the_newest_request_is_answered(reader):
    answers = Answers()
    reader.go.clear()
    thinking = Thinking(answers)
    for n in range(5):
        last, known = thinking.ask(examination(str(n)))
        assert known is None
    reader.go.set()
    assert answers.wait(last)[1] == examination("4")
    assert len(reader.read_of) <= 2


def test_what_may_come_next_is_read_ahead_and_then_known_at_once(reader):
    answers, done = Answers(), threading.Event()

    def ahead(now):
        yield examination("2", "0")
        yield examination("2", "1")
        done.set()

    thinking = Thinking(answers, ahead)
    number, _ = thinking.ask(examination("2"))
    answers.wait(number)
    assert done.wait(10)
    number, known = thinking.ask(examination("2", "1"))
    assert known[1] == examination("2", "1")
    # It is given at once and not answered once more.
    again, _ = thinking.ask(examination("3"))
    answers.wait(again)
    assert number not in [n for n, _ in answers.all]


def test_on_a_machine_that_others_keep_busy_nothing_is_read_ahead(reader, monkeypatch):
    monkeypatch.setattr("os.getloadavg", lambda: (99.0, 99.0, 99.0))
    answers, asked = Answers(), []
    thinking = Thinking(answers, lambda now: asked.append(now) or ())
    for text in ("2", "3"):
        number, _ = thinking.ask(examination(text))
        answers.wait(number)
    monkeypatch.setattr("os.getloadavg", lambda: (0.0, 0.0, 0.0))
    number, _ = thinking.ask(examination("4"))
    answers.wait(number)
    for _ in range(1000):
        if asked:
            break
        time.sleep(0.01)
    assert asked == [examination("4")]


def test_a_waiting_key_ends_the_reading_ahead(reader):
    answers, begun = Answers(), threading.Event()

    def ahead(now):
        if not begun.is_set():
            reader.go.clear()
            begun.set()
            for n in range(1000):
                yield examination("2", "3").model_copy(update={"flags": {str(n): "yes"}})

    thinking = Thinking(answers, ahead)
    number, _ = thinking.ask(examination("2"))
    answers.wait(number)
    assert begun.wait(10)
    number, _ = thinking.ask(examination("2", "4"))
    reader.go.set()
    answers.wait(number)
    assert len(reader.read_of) < 10


def test_a_fault_of_the_reasoning_or_of_reading_ahead_is_no_reading_and_no_end(reader):
    def ahead(now):
        raise RuntimeError("nothing ahead")
        yield

    answers = Answers()
    thinking = Thinking(answers, ahead)
    number, _ = thinking.ask(examination("2").model_copy(update={"comment": "broken"}))
    assert answers.wait(number) is None
    number, _ = thinking.ask(examination("3"))
    assert answers.wait(number)[1] == examination("3")


def test_what_is_kept_is_bounded(reader):
    answers = Answers()
    thinking = Thinking(answers)
    one = examination("2")
    for n in range(KEPT + 20):
        flags = {f"flag{n}": "yes"}
        number, _ = thinking.ask(one.model_copy(update={"flags": flags}))
        answers.wait(number)
    assert len(thinking._known) == KEPT


def test_a_reading_depends_on_nothing_that_its_key_leaves_out():
    one = examination("2", "0")
    other = one.model_copy(
        update={"comment": "c", "impression": "i", "suggestion": "s", "id": "e0000002"}
    )
    read = ready.engine().read
    assert essence(one) == essence(other)
    assert read(one, silence=False) == read(other, silence=False)


def test_what_stands_from_before_fades_until_the_time_that_an_examination_is_told_to_be_of():
    entered = examination("2")
    found = examined("plantar 2/3 knee 2/3", entered.at - timedelta(hours=20))
    earlier = standing_earlier((found,), entered.at)
    late = entered.model_copy(update={"at": entered.at - timedelta(hours=18), "entered": entered.at})  # fmt: skip
    answers = Answers()
    thinking = Thinking(answers, earlier=earlier)
    read = [answers.wait(thinking.ask(e)[0]) for e in (entered, late)]
    wanted = standing_earlier((found,), late.at)
    assert read[1] == ready.engine().read(late, silence=False, earlier=wanted)
    assert read[0] != read[1]


def test_a_fault_in_what_follows_a_reading_ends_no_reading(reader):
    answers = Answers()

    def broken(_):
        raise RuntimeError("broken")

    thinking = Thinking(answers, rested=broken)
    for times in (1, 2):
        number, _ = thinking.ask(examination(times))
        assert answers.wait(number)
        time.sleep(0.05)
    thinking.end()


async def test_a_reading_that_comes_while_the_screen_is_drawn_is_shown(tmp_path, monkeypatch):
    """It was taken by the key that moved the cursor, after the panel was drawn, and told no second time."""
    real, go = ready.engine(), threading.Event()

    class Held:
        def read(self, *what, **how):
            go.wait(10)
            return real.read(*what, **how)

    app = demo_app(tmp_path / "ward")
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter", "1")
        await settled(pilot)
        monkeypatch.setattr(ready, "engine", Held)
        await pilot.press("2")
        screen = app.screen
        draw = screen.draw

        def drawn_as_it_comes():
            draw()
            go.set()
            while screen.reader.known(screen.state.examination) is None:
                time.sleep(0.01)

        monkeypatch.setattr(screen, "draw", drawn_as_it_comes)
        await pilot.press("down")
        monkeypatch.setattr(screen, "draw", draw)
        await pilot.pause(0.2)
        before = screen.canvas("panel").text()
        screen.redraw()
        assert before == screen.canvas("panel").text()


async def test_an_answer_that_comes_when_the_app_has_ended_goes_nowhere_and_raises_nothing(app):
    async with app.run_test(size=(80, 24)):
        assert await asyncio.to_thread(app.call_later, lambda: None)
    closed = asyncio.new_event_loop()
    closed.close()
    app._loop, app._closing, app._closed = closed, False, False  # as a thread may find it
    assert await asyncio.to_thread(app.call_later, lambda: None) is False
