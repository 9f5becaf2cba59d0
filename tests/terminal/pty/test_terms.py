"""What a person sees on every kind of terminal, through a terminal emulator."""

import re

import pytest

from tests.terminal.pty.harness import colour_codes, environ, kept, running, wardexam

# TERM and more, which colours may be named, whether only ASCII is sent.
TERMS = [
    ({"TERM": "vt100"}, set(), True),
    ({"TERM": "vt220"}, set(), True),
    ({"TERM": "linux"}, {"16"}, False),
    ({"TERM": "screen"}, {"16"}, False),
    ({"TERM": "screen-256color"}, {"256"}, False),
    ({"TERM": "tmux"}, {"16"}, False),
    ({"TERM": "tmux-256color"}, {"256"}, False),
    ({"TERM": "xterm"}, {"16"}, False),
    ({"TERM": "xterm-256color"}, {"256"}, False),
    ({"TERM": "xterm-256color", "COLORTERM": "truecolor"}, {"256"}, False),
    ({"TERM": "xterm-256color", "WARDEXAM_BACKGROUND": "light"}, {"256"}, False),
    ({"TERM": "putty"}, {"16"}, False),
    ({"TERM": "putty-256color"}, {"256"}, False),
    ({"TERM": "xterm-256color", "NO_COLOR": "1"}, set(), False),
    ({"TERM": "linux", "NO_COLOR": "1"}, set(), False),
    ({"TERM": "xterm", "LANG": "C"}, {"16"}, True),
    ({"TERM": "xterm", "LANG": "en_GB.ISO-8859-1"}, {"16"}, True),
    ({"TERM": "putty", "LC_ALL": "C"}, {"16"}, True),
]
BOXES = re.compile("[\u2500-\u257f\u2580-\u259f\u25a0-\u25ff]")


def name(case):
    return "-".join(case[0].values())


@pytest.mark.parametrize("case", TERMS, ids=name)
def test_a_person_sees_the_ward_the_grid_the_panel_and_the_note(tmp_path, case):
    more, named, plain = case
    with running(wardexam("demo"), environ(tmp_path, **more)) as session:
        # The ward: urgency in words, the chosen bed in reverse, keys below.
        session.wait("12 patients")
        session.wait("? help")
        first = next(y for y, line in enumerate(session.lines) if line[1:].startswith("A1 "))
        assert {(y, x) for y, x, _ in session.reversed_cells()} >= {(first, x) for x in range(1, 6)}
        now = [y for y, line in enumerate(session.lines) if " NOW" in line and y != first]
        assert now
        for y in now:
            cell = session.screen.buffer[y][session.lines[y].index("NOW")]
            assert cell.bold
            assert (cell.bg != "default") if named else cell.reverse

        # The grid: a key grades, the cursor goes on, a wrong key says what would be accepted.
        session.send("j")
        session.press("\rm1", "Reflexes and more: core")
        session.press("2", kept(1))
        session.wait(lambda s: re.search(r"biceps +2\+ ", s.text))
        (y,) = (
            y
            for y, line in enumerate(session.lines)
            if " biceps" in line[:8] or "biceps " in line[1:8]
        )
        cursor = [x for row, x, _ in session.reversed_cells() if row == y and x < 50]
        assert cursor == list(range(32, 37))
        session.press("\x1b[B", lambda s: s.lines[y + 1][:1] in "\u25ba>" and s.lines[y + 1][:1])
        session.press("9", "0 absent  1 reduced")

        # The panel: where, and that nothing is ruled out.
        session.wait("Where (suggestion)")
        session.wait("Rules nothing out")
        session.wait(lambda s: re.search(r"(possible|likely) +\d+%", s.text))

        # The note, and the way out.
        session.press("s", "NEUROLOGICAL EXAMINATION")
        session.press("q", "12 patients")
        session.send("q")
        assert session.ended() == 0

        assert colour_codes(bytes(session.raw)) == named
        drawn = bytes(session.raw).decode()
        assert "\ufffd" not in drawn
        assert drawn.isascii() is plain
        assert bool(BOXES.search(drawn)) is not plain
        # The terminal is as it was: its own screen, the cursor shown, no modes left.
        assert session.modes() == session.modes_before
        for mode in ("1049", "2004", "1004"):
            assert drawn.rfind(f"\x1b[?{mode}l") > drawn.rfind(f"\x1b[?{mode}h")
        assert drawn.rfind("\x1b[?25h") > drawn.rfind("\x1b[?25l")


@pytest.mark.parametrize("term", ["dumb", "unknown", ""])
def test_a_terminal_without_a_screen_is_told_of_the_line_mode_in_one_line(tmp_path, term):
    with running(wardexam("demo"), environ(tmp_path, TERM=term)) as session:
        assert session.ended() == 2
        said = session.text.strip()
        assert said.startswith("wardexam: TERM: a full screen is impossible")
        assert "wardexam enter" in said.replace("\n", "")
        assert b"\x1b" not in session.raw


@pytest.mark.long
@pytest.mark.parametrize("size", [(80, 24), (100, 30), (120, 40)])
def test_every_size_is_composed(tmp_path, size):
    with running(wardexam("demo"), environ(tmp_path), size) as session:
        session.press("", "12 patients")
        session.press("\rm1", "Reflexes and more: core")
        session.wait("? help")
        assert len(session.lines) == size[1]
        assert "? help" in session.lines[-1]
        rules = {line.index("\u2502") for line in session.lines[3 : size[1] - 2]}
        assert rules == {49}
        # What stands left stays where it was; more columns add, and move nothing.
        assert session.lines[3].startswith(
            "Reflexes and more: core   right left  before     \u2502"
        )
