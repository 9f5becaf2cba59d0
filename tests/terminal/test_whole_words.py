"""What is said is said whole: over as many lines as it takes."""

import pytest
from rich.cells import cell_len

from tests.terminal.screens import demo_app, dump, status
from wardexam.exam.text import columns
from wardexam.terminal.canvas import MOST_LINES, plain, wrapped
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
        await pilot.press("question_mark", "f9")
        assert status(app).startswith("f9: no such key here.")  # they are shown already


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


@pytest.mark.parametrize(
    "text", ["word " * 12, "\u6f22\u5b57" * 30, "a\u6f22b " * 20, "e\u0301tat " * 20, "x" * 50]
)
@pytest.mark.parametrize("width", [2, 9, 20, 80])
def test_what_is_said_is_broken_by_columns_and_where_it_is_cut_that_is_seen(text, width):
    lines = wrapped(text, width)
    assert 1 <= len(lines) <= MOST_LINES
    assert all(max(columns(line), cell_len(line)) <= width for line in lines)
    whole = "".join(lines) == "".join(text.split()) or " ".join(lines) == text.strip()
    assert (
        whole
        or lines[-1].endswith("..")
        or "".join("".join(lines).split()) == "".join(text.split())
    )


def test_a_status_of_more_lines_than_there_are_ends_so_that_it_is_seen():
    said = "One of many words that stand here. " * 20
    lines = [plain(line) for line in status_lines("right knee", said, "kept 02:06", 80, wrote=False)]  # fmt: skip
    assert len(lines) == MOST_LINES
    assert lines[-1].removesuffix("kept 02:06").rstrip().endswith(" ..")
    assert all(columns(line) <= 80 for line in lines)


def test_a_status_of_wide_letters_is_whole_where_it_has_room():
    said = "\u6f22\u5b57 " * 30
    lines = [plain(line) for line in status_lines("right knee", said, "kept 02:06", 80, wrote=False)]  # fmt: skip
    assert all(columns(line) <= 80 for line in lines)
    assert "".join(lines).count("\u6f22\u5b57") == 30
