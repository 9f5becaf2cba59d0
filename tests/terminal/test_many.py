"""Forty beds beside many discharged patients: everyone is reached, and the handover has its pages."""

import pytest

from tests.bench.years import fill
from tests.terminal.screens import NOW, demo_app, dump
from wardexam.note.handover import PAGE_LINES

BEDS, GONE = 40, 60  # `python -m tests.bench.bench_years` measures two thousand


@pytest.fixture
def app(tmp_path):
    app = demo_app(tmp_path / "ward", empty=True)
    fill(app.ward, BEDS, GONE, NOW)
    return app


@pytest.mark.long
async def test_every_bed_is_reached_and_the_cursor_stays_in_sight(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.pause()
        assert "40 patients" in dump(app)[0]
        beds = {bed.bed for bed in app.ward.beds()}

        def listed() -> set[str]:
            return {
                bed for bed in beds if any(t[1:].startswith(f"{bed} ") for t in dump(app)[2:-2])
            }

        seen = listed()
        for _ in range(BEDS):
            await pilot.press("j")
            seen |= listed()
        assert seen == beds
        await pilot.press("n")
        assert f"bed {app.ward.beds()[-1].bed} " in dump(app)[0]


async def test_the_discharged_are_kept_hidden_found_read_and_restored(app):
    gone = app.ward.beds(discharged=True)
    wanted = next(b for b in gone if sum(b.name in other.name for other in gone) == 1)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("X")
        assert "60 patients" in dump(app)[0]
        await pilot.press("slash", *wanted.name, "enter")
        assert "Discharged" in dump(app)[0]
        await pilot.press("n")
        assert "examination" in dump(app)[0]
        await pilot.press("q", "V")
        assert "findings" in "\n".join(dump(app))
        await pilot.press("q", "D", *"yes", "enter")
        assert f"Restored: {wanted.bed} {wanted.name}." in dump(app)[-2]
        assert any(bed.name == wanted.name for bed in app.ward.beds())
        assert len(app.ward.beds(discharged=True)) == GONE - 1


@pytest.mark.long
async def test_the_handover_of_forty_is_four_screens_by_one_key_each(app):
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("H")
        beds = []
        for page in range(4):
            lines = dump(app)
            assert f"{10 * page + 1}-{10 * page + 10} of 40" in lines[1]
            beds += [line.split()[0] for line in lines[2:22] if not line.startswith(" ")]
            await pilot.press("j")
        assert sorted(beds) == sorted(b.bed for b in app.ward.beds())
        assert PAGE_LINES == 22
