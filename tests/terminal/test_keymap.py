"""The user's own keys: what is taken shows everywhere, what cannot be is refused by name and line."""

import tomllib

import pytest

from tests.terminal.screens import demo_app, dump
from wardexam.errors import TableError
from wardexam.terminal.keymap import GRADES, GRADING, IN_SEQUENCES, as_toml, read_keys
from wardexam.terminal.keys import SCREENS, action_of, help_lines, shown

MINE = """\
# mine
[examine]
undo = "N"
suggested = ["%", "home"]
flags = "L"

[ward]
note = "N"
admit = "n"
open = ["space", "enter"]
"""


def test_what_the_file_names_is_replaced_and_the_rest_stays():
    keymap = read_keys(MINE)
    assert action_of(keymap["examine"])["N"] == "undo"
    assert "u" not in action_of(keymap["examine"])
    assert action_of(keymap["ward"])["n"] == "admit"
    assert action_of(keymap["examine"])["percent_sign"] == "suggested"
    assert keymap["text"] == SCREENS["text"]


REFUSED = [
    ('[examine]\nboth = "u"', 2, "'u' is both 'both' and 'undo'"),
    ('[examine]\n\nundo = "x"\nboth = "b"', 3, "'x' is both 'not_testable' and 'undo'"),
    ('[ward]\nnote = "m"\ncourse = "m"', 3, "'m' is both 'note' and 'course'"),
    ('[examine]\nundo = "A"', 2, "'A' can never be used: terminals send it inside other keys"),
    (
        '[reasons]\ncalled = "c"',
        2,
        "[reasons] has 'called' no more: press the key of 'act', then 1",
    ),
    ('[ward]\nsearch = "["', 2, "'[' can never be used"),
    ('[ward]\nnote = "["', 2, "'[' can never be used"),
    ('[examine]\nundo = "3"', 2, "'3' can never be used here: it grades"),
    ('[examine]\nundo = "-"', 2, "'-' can never be used here"),
    ('[ward]\nnote = "ctrl+b"', 2, "'ctrl+b' is no key"),
    ('[ward]\nnote = "alt+n"', 2, "'alt+n' is no key"),
    ('[ward]\nnote = "f1"', 2, "'f1' is no key"),
    ('[ward]\nnote = "é"', 2, "'é' is no key"),
    ('[ward]\nnote = ""', 2, "'' is no key"),
    ("[ward]\nnote = []", 2, "'note' needs a key"),
    ("[ward]\nnote = 1", 2, "'note' needs a key"),
    ('[ward]\nnoet = "n"', 2, "[ward] has no action 'noet': it has up, down, open, note"),
    (
        '[wards]\nnote = "n"',
        1,
        "no screen is called 'wards': there are ward, examine, text, reasons",
    ),
    ('ward = "n"', 1, "'ward' is a table of actions"),
    ('[examine]\nleave = "escape"', 2, "'leave' needs a key beside escape"),
    ('[ward]\nnote = "n', 2, "Unterminated string"),
]


@pytest.mark.parametrize(("text", "line", "said"), REFUSED)
def test_what_cannot_be_is_refused_by_name_and_line(text, line, said):
    with pytest.raises(TableError) as refusal:
        read_keys(text, "keys.toml")
    assert str(refusal.value).startswith(f"keys.toml, line {line}: ")
    assert said in str(refusal.value)
    assert "the built-in keys stay" in str(refusal.value)


def test_an_action_by_its_former_name_is_taken():
    assert action_of(read_keys('[ward]\nsearch = "%"')["ward"])["percent_sign"] == "find"


@pytest.mark.parametrize("key", sorted(IN_SEQUENCES))
@pytest.mark.parametrize("screen", list(SCREENS))
def test_no_letter_that_stands_in_escape_sequences_may_write(screen, key):
    if screen not in GRADING and key.isalpha():
        return  # all it does there is open, show or ask
    with pytest.raises(TableError, match="can never be used"):
        read_keys(f'[{screen}]\nleave = ["q", "{key}"]')


@pytest.mark.parametrize("key", sorted(GRADES))
def test_no_action_takes_a_grade_from_the_grid(key):
    with pytest.raises(TableError, match="can never be used here"):
        read_keys(f'[examine]\nsave = ["s", "{key}"]')


def test_no_action_takes_a_score_from_the_sheet():
    with pytest.raises(TableError, match="can never be used here"):
        read_keys('[injury]\nsave = ["s", "3"]')


def test_the_built_in_keys_are_themselves_a_keys_file():
    text = as_toml(SCREENS)
    assert set(tomllib.loads(text)) == set(SCREENS)
    assert read_keys(text) == SCREENS
    mine = read_keys(MINE)
    assert read_keys(as_toml(mine)) == mine


async def test_the_screen_obeys_and_shows_the_users_keys(tmp_path):
    app = demo_app(tmp_path / "ward", keymap=read_keys(MINE))
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.pause()
        assert "space examine  N note" in dump(app)[-1]
        await pilot.press("N")
        assert "NEUROLOGICAL" in "\n".join(dump(app))
        await pilot.press("q", "space", "2", "N")
        assert app.screen.state.examination.findings == ()
        await pilot.press("u")
        assert "u: no such key here" in dump(app)[-2]
        assert dump(app)[2].endswith("not asked)  L")
        await pilot.press("question_mark")
        assert any(line.startswith("N ") or " N " in line in line for line in dump(app))
        await pilot.press("q", "L")
        assert "Red flags" in "\n".join(dump(app))


async def test_an_empty_ward_names_the_users_key(tmp_path):
    app = demo_app(tmp_path / "ward", empty=True, keymap=read_keys(MINE))
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.pause()
        assert "Press n to admit the first patient" in "\n".join(dump(app))


@pytest.mark.parametrize("screen", list(SCREENS))
@pytest.mark.parametrize("size", [(80, 24), (120, 40)])
def test_help_is_one_screen_and_names_every_key(screen, size):
    width, height = size
    lines = help_lines(SCREENS[screen], width, height - 3)
    assert len(lines) <= height - 3
    assert all(len(line) <= width for line in lines)
    text = " ".join(" ".join(lines).split())
    for row in SCREENS[screen]:
        assert " ".join(map(shown, row.keys)) in text
        assert row.does.split()[0] in text


PLAIN = {"up", "down", "left", "right", "enter", "space", "tab", "shift+tab", "backspace"}


@pytest.mark.parametrize("screen", list(SCREENS))
def test_no_chord_function_key_or_escape_is_ever_needed(screen):
    """What SSH clients, tmux and screen readers take for themselves is nowhere the only way."""
    for row in SCREENS[screen]:
        plain = [k for k in map(shown, row.keys) if len(k) == 1 or k in PLAIN]
        # Drawing anew and going to the shell stand in the list of commands as well.
        assert plain or row.action in ("repaint", "suspend"), row
