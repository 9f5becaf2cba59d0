"""What it was in the end, recorded from the ward list in a few keys."""

from datetime import timedelta

import pytest

from tests.terminal.screens import NOW, demo_app, dump
from wardexam.records.ward import open_ward

FIRST = "avzac69ob94i575u"  # in bed A1, where the cursor stands


async def typed(pilot, text):
    """Type an answer and accept it."""
    names = {" ": "space", ":": "colon", "-": "minus", ".": "full_stop", "/": "slash"}
    await pilot.press(*(names.get(letter, letter) for letter in text), "enter")


def recorded(app):
    return app.ward.outcomes(FIRST)


async def test_a_few_keys_record_it(tmp_path):
    app = demo_app(tmp_path / "ward")
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("L")
        shown = "\n".join(dump(app))
        assert "A1 Ottoline Marsh no. 40-1182: where was it in the end?" in shown
        assert "5 spinal cord" in shown
        assert "21 " in shown
        for answer in ("5", "4", "y", "3.3.2026 12:30", "", "T9 metastasis", ""):
            await typed(pilot, answer)
        assert "Recorded what it was in the end: A1, revision 1." in "\n".join(dump(app))
    (outcome,) = recorded(app)
    assert (outcome.site, outcome.side, outcome.positive) == ("cord", "midline", "yes")
    assert outcome.imaged == NOW - timedelta(days=1, hours=1, minutes=30)
    assert (outcome.diagnosis, outcome.image, outcome.by, outcome.at) == (
        "T9 metastasis",
        "",
        "Dr Test",
        NOW,
    )
    assert open_ward(tmp_path / "ward").outcomes(FIRST) == (outcome,)


async def test_again_shows_what_was_said_and_keeps_it(tmp_path):
    app = demo_app(tmp_path / "ward")
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("L")
        for answer in ("cord", "", "yes", "3.3.2026 12:30", "pressed", "T9", ""):
            await typed(pilot, answer)
        await pilot.press("L")
        assert dump(app)[-2].endswith("spinal cord")
        for _ in range(5):
            await pilot.press("enter")
        assert dump(app)[-2].endswith("T9")
        await typed(pilot, " met")
        await pilot.press("enter")
    first, second = recorded(app)
    assert second.said == first.said | {"diagnosis": "T9 met"}


async def test_what_does_not_apply_is_not_asked_and_what_is_wrong_stays(tmp_path):
    app = demo_app(tmp_path / "ward")
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("L")
        await typed(pilot, "spleen")
        assert "! spleen is no site." in "\n".join(dump(app))
        await pilot.press(*["backspace"] * 6)
        await typed(pilot, "")
        await typed(pilot, "")
        assert "Diagnosis" in dump(app)[-2]
        await typed(pilot, "migraine")
        await typed(pilot, "")
    (outcome,) = recorded(app)
    assert outcome.said == {
        "imaged": None, "image": "", "positive": None, "site": None, "diagnosis": "migraine", "side": None, "by": "Dr Test",
    }  # fmt: skip


async def test_of_a_discharged_patient_and_nothing_said_is_nothing_recorded(tmp_path):
    app = demo_app(tmp_path / "ward")
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("X", "L")
        for answer in ("none", "", "n", "", "", "", ""):
            await typed(pilot, answer)
        (gone,) = app.ward.beds(discharged=True)
        assert [(o.site, o.positive) for o in app.ward.outcomes(gone.patient_id)] == [
            ("none", "no")
        ]
        await pilot.press("X", "L")
        for _ in range(4):
            await typed(pilot, "")
        assert "Not recorded: an outcome says at least one thing" in dump(app)[-2]
    assert recorded(app) == ()


@pytest.mark.parametrize("left_at", [0, 2])
async def test_escape_leaves_it_unrecorded(tmp_path, left_at):
    app = demo_app(tmp_path / "ward")
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("L")
        for answer in ("5", "4")[:left_at]:
            await typed(pilot, answer)
        await pilot.press("escape")
    assert recorded(app) == ()


@pytest.mark.parametrize(
    ("typed_time", "said", "number"),
    [
        ("20.2.2026 10:30", "days before the admission: is the date right?", 1),
        ("1.12.2025 10:30", "is more than 30 days before the admission", 0),
        ("10:30", "the image is after the last result, written 2026-03-03 13:30", 0),
    ],
)
async def test_the_time_of_the_image_is_looked_at(tmp_path, typed_time, said, number):
    app = demo_app(tmp_path / "ward")
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("L")
        for answer in ("cord", "", "yes", typed_time, "", "", ""):
            await typed(pilot, answer)
        shown = " ".join(" ".join(dump(app)).split())
        assert said in shown
        assert ("Image done when" in shown) == (
            not number
        )  # what is wrong is said where it was typed
    assert len(recorded(app)) == number
