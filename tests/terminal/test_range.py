"""Sensation by range: two segments typed fill the dermatomes between them, on one side or both, as one keystroke."""

import pytest

from tests.terminal.screens import NOW, demo_app, dump, found
from wardexam.exam.examination import Patient


@pytest.fixture
def app(tmp_path):
    made = demo_app(tmp_path / "ward", empty=True)
    made.ward.admit(Patient(id="patient1", bed="A3", name="Ana Invented", admitted=NOW), "test")
    return made


TRUNK = ["T10", "T11", "T12"]
LEGS = ["L1", "L2", "L3", "L4", "L5", "S1", "S2", "S3", "S4_5"]


@pytest.mark.parametrize(
    ("typed", "segments", "answer"),
    [
        ("t10 s5", TRUNK + LEGS, "reduced"),
        ("T10", TRUNK + LEGS, "reduced"),
        ("T10 to T12", TRUNK, "reduced"),
        ("t12-t10 0", TRUNK, "absent"),
        ("from T10 down absent", TRUNK + LEGS, "absent"),
        ("S3 S4-5 normal", ["S3", "S4_5"], "normal"),
    ],
)
@pytest.mark.parametrize("both", [False, True])
async def test_two_segments_fill_the_dermatomes_between_them(app, typed, segments, answer, both):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter")
        app.screen.go("pin_T8", "left")
        await pilot.press(*(["b"] if both else []), "enter", *typed, "enter")
        sides = ("right", "left") if both else ("left",)
        assert found(app) == {(f"pin_{s}", side): answer for s in segments for side in sides}
        where = "both sides" if both else "left"
        assert f"{where} pinprick {segments[0]} to" in dump(app)[-2]
        await pilot.press("u")
        assert found(app) == {}
        await pilot.press("U")
        assert len(found(app)) == len(segments) * len(sides)


async def test_it_takes_two_keys_and_the_two_segments(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter")
        app.screen.go("touch_C5", "right")
        await pilot.press("enter", *"t10 s5", "enter")
        assert found(app) == {(f"touch_{s}", "right"): "reduced" for s in TRUNK + LEGS}


@pytest.mark.parametrize("typed", ["", "x", "t10 s5 l1", "t99", "t10 s5 lots", "C1 C2", "10 12"])
async def test_what_is_no_range_stays_as_it_was_typed_and_grades_nothing(app, typed):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("enter")
        app.screen.go("pin_T8", "left")
        await pilot.press("enter", *typed, "enter")
        assert found(app) == {}
        assert any(
            line.startswith("! Two segments are needed, such as T10 S5") for line in dump(app)
        )
        assert dump(app)[-2].rstrip().endswith(typed)
        await pilot.press("escape")
        assert "Left as it was" in dump(app)[-2]
