"""How urgent a patient is stands on line 2 of every screen that shows the patient, the same on all of them."""

from datetime import UTC, datetime, timedelta

import pytest

from tests.terminal.screens import demo_app, dump
from tests.terminal.test_identity import SCREENS
from wardexam.exam.acts import Act
from wardexam.note.headline import summarise
from wardexam.reasoning.rules.reason import Reason, Urgency
from wardexam.terminal.canvas import Canvas, plain
from wardexam.terminal.urgent import urgent_line

NOW = datetime(2026, 3, 4, 14, tzinfo=UTC)

NEXT_TO_A2 = " NOW  due 15:00  possible cauda equina"


@pytest.mark.parametrize("size", [(80, 24), (120, 40)], ids=["80x24", "120x40"])
@pytest.mark.parametrize("screen", list(SCREENS))
async def test_every_screen_of_a_patient_says_it_on_its_second_line(tmp_path, screen, size):
    app = demo_app(tmp_path / "ward", colours=16)
    async with app.run_test(size=size) as pilot:
        await pilot.press("j", *SCREENS[screen])
        await pilot.pause()
        line = dump(app)[1]
        assert line.startswith(NEXT_TO_A2), line
        assert line.endswith(("more !", "more")), line
        assert len(line) <= size[0]
        # In the alarm's colour, as on the list.
        heading = app.screen.query_one("#heading", Canvas)
        first = next(iter(heading.render_line(1)))
        assert (first.text, first.style) == (" NOW ", app.looks["alarm"])


@pytest.mark.parametrize(
    ("first", "others", "said"),
    [(-2, (1, 4), "+2, one due 15:00 !"), (-2, (-1, 4), "+2, 1 OVERDUE !"), (2, (4,), "+1 more !")],
)
def test_a_limit_that_is_passed_hides_none_that_is_still_to_come(first, others, said):
    def reason(hours):
        due = NOW + timedelta(hours=hours)
        return Reason("weak", 3, "weakness", "MRI", "neurology", "a book", due=due, by="4 h")

    urgency = Urgency(3, "now", tuple(map(reason, (first, *others))), (), (), "")
    assert plain(urgent_line(urgency, 80, now=NOW, key="!")).endswith(said)


SETTLED = {"not_needed": "not needed", "lowered": "brought down", "done": "image done"}


@pytest.mark.parametrize(("kind", "word"), SETTLED.items())
def test_how_a_reason_is_settled_stands_where_its_deadline_was(kind, word):
    act = Act(rule="weak", kind=kind, what="seen", by="Dr Test", at=NOW, on=())
    called = Act(rule="weak", kind="called", what="neurology", by="Dr Test", at=NOW)
    reason = Reason(
        "weak", 1, "weakness", "MRI", "neurology", "a book", acts=(act, called), answered=True,
        lowered="seen" if kind == "lowered" else "",
    )  # fmt: skip
    urgency = Urgency(1, "within days", (reason,), (), (), "")
    line = plain(urgent_line(urgency, 80, now=NOW, key="!"))
    assert line.startswith(f" WITHIN DAYS  {word}  weakness: "), line
    assert summarise(urgency, None, None).headline == f"weakness, {word}"


def test_of_a_reason_that_stands_nothing_is_said_to_be_settled():
    asked = Act(rule="weak", kind="asked", what="MRI", by="Dr Test", at=NOW)
    past = Act(
        rule="weak", kind="not_needed", what="seen", by="Dr Test", at=NOW, ended="left ankle 0"
    )
    reason = Reason("weak", 1, "weakness", "MRI", "neurology", "a book", acts=(past, asked))
    urgency = Urgency(1, "within days", (reason,), (), (), "")
    assert plain(urgent_line(urgency, 80, now=NOW, key="!")).startswith(" WITHIN DAYS   weakness: ")
