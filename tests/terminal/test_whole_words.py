"""What is said is said whole: over as many lines as it takes."""

import pytest

from tests.terminal.screens import demo_app, dump, status
from wardexam.terminal.canvas import plain
from wardexam.terminal.edit import status_lines

SAVING = "could not be saved: No space left on device (nothing stored was changed; save again)"


def test_what_could_not_be_saved_is_said_to_its_end_beside_what_is_kept():
    lines = [plain(line) for line in status_lines("right knee", SAVING, "kept 02:06", 80, wrote=False)]  # fmt: skip
    assert all(len(line) <= 80 for line in lines)
    assert " ".join(" ".join(lines).split()) == f"{SAVING} kept 02:06"


def test_what_fits_stays_one_line():
    (line,) = status_lines("right knee", "left knee 2+", "kept 02:06", 80, wrote=True)
    assert plain(line).startswith("right knee   left knee 2+")


@pytest.mark.parametrize("opened", [[], ["enter"], ["n"], ["J"]], ids=["ward", "examine", "note", "sheet"])  # fmt: skip
async def test_that_a_key_does_nothing_here_is_said_whole(tmp_path, opened):
    app = demo_app(tmp_path / "ward")
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press(*opened, "f9")
        assert status(app).startswith("f9: no such key here; ? shows them all.")


async def test_on_the_smallest_screen_too(tmp_path):
    app = demo_app(tmp_path / "ward")
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.resize_terminal(40, 12)
        for _ in range(100):  # a size is acted on in a turn of its own
            await pilot.pause(0.02)
            said = " ".join(" ".join(dump(app)).split())
            if said.startswith("Needs"):
                break
        assert said == "Needs 80 x 24, has 40 x 12. Everything is kept; q leaves."
