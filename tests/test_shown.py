"""What the README shows is what the program shows: two pictures, a screen as text, and a session in a real terminal."""

import json
import re
from xml.etree import ElementTree

import pytest

from tests import shown

ANEW = "python -m tests.shown makes it anew"


@pytest.mark.parametrize("name", list(shown.PICTURES))
async def test_a_picture_is_the_real_screen(name, tmp_path):
    assert (shown.FOLDER / name).read_text() == await shown.picture(name, tmp_path / "ward"), ANEW


async def test_the_screen_as_text_is_the_real_screen(tmp_path):
    found = shown.PLACE.search(shown.README.read_text())
    assert found
    assert found[0] == await shown.capture(tmp_path / "ward"), ANEW


def frames(text: str) -> list[str]:
    """The screens of a session in turn, as plain text."""
    rows = [json.loads(line) for line in text.splitlines()[1:]]
    return [re.sub(r"\x1b\[[0-9;]*[A-Za-z]", "", row[2]) for row in rows if row[1] == "o"]


@pytest.mark.long
def test_the_recorded_session_is_what_the_real_program_shows(tmp_path):
    kept = (shown.FOLDER / shown.SESSION).read_text()
    played, seconds = shown.session(tmp_path)
    if seconds > shown.LONGEST:
        pytest.skip(f"it took {seconds:.0f} s here, in which the clock on the screen moved on")
    assert frames(played) == frames(kept), ANEW
    assert played == kept, ANEW


def test_the_session_is_an_asciicast_that_shows_every_step():
    head, *rows = map(json.loads, (shown.FOLDER / shown.SESSION).read_text().splitlines())
    assert (head["version"], head["width"], head["height"]) == (2, 80, 24)
    assert [row[0] for row in rows] == sorted(row[0] for row in rows)
    assert {row[1] for row in rows} == {"i", "m", "o"}
    assert [row[2] for row in rows if row[1] == "m"] == [what for _, _, what in shown.STEPS]
    assert "".join(row[2] for row in rows if row[1] == "i") == "".join(k for k, _, _ in shown.STEPS)
    for (_, then, what), screen in zip(shown.STEPS, frames((shown.FOLDER / shown.SESSION).read_text()), strict=True):  # fmt: skip
        assert then in screen, what
        assert len(screen.splitlines()) == 24
        assert max(map(len, screen.splitlines())) <= 80


@pytest.mark.parametrize("name", [*shown.PICTURES, shown.SESSION])
def test_the_readme_shows_it_and_it_is_small(name):
    assert f"(.github/{name})" in shown.README.read_text()
    assert (shown.FOLDER / name).stat().st_size < 40_000


@pytest.mark.parametrize("name", list(shown.PICTURES))
def test_a_picture_says_what_it_shows_and_loads_nothing(name):
    root = ElementTree.parse(shown.FOLDER / name).getroot()
    (columns, lines), _, title = shown.PICTURES[name]
    assert root.find("{*}title").text == title
    assert root.get("viewBox").split()[2:] == [str(columns * 8 + 16), str(lines * 16 + 16)]
    assert {element.tag.rpartition("}")[2] for element in root.iter()} == {"svg", "title", "rect", "text"}  # fmt: skip
