"""What is sent makes the terminal show what was drawn, and costs what changed."""

import pyte
import pytest
from hypothesis import given
from hypothesis import strategies as st

from wardexam.terminal.glass import Glass

WIDTH, HEIGHT = 24, 5
LOOKS = ["", "1", "7", "1;36", "1;7;31"]


class Terminal:
    """A glass and the emulated terminal it believes in."""

    def __init__(self):
        self.glass = Glass()
        self.glass.resize(WIDTH, HEIGHT)
        self.screen = pyte.Screen(WIDTH, HEIGHT)
        self.screen.reset_mode(7, private=True)
        self.stream = pyte.Stream(self.screen)

    def send(self, cursor=(0, 0)) -> str:
        data = self.glass.changes(cursor)
        self.stream.feed(data)
        return data

    def seen(self):
        return [
            [(c.data, c.bold, c.reverse, c.fg) for x in range(WIDTH) if (c := line[x]) is not None]
            for line in (self.screen.buffer[y] for y in range(HEIGHT))
        ]


def looks(sgr):
    parts = sgr.split(";")
    return "1" in parts, "7" in parts, {"31": "red", "36": "cyan"}.get(parts[-1], "default")


piece = st.tuples(st.text(alphabet="ab 0", min_size=1, max_size=9), st.sampled_from(LOOKS))
put = st.tuples(
    st.integers(0, HEIGHT), st.integers(0, WIDTH), st.lists(piece, min_size=1, max_size=4)
)


@given(st.lists(st.lists(put, max_size=4), min_size=1, max_size=5))
def test_the_terminal_shows_what_was_drawn(frames):
    terminal = Terminal()
    wanted = [[(" ", False, False, "default")] * WIDTH for _ in range(HEIGHT)]
    for frame in frames:
        for y, x, pieces in frame:
            terminal.glass.put(y, x, pieces)
            for text, sgr in pieces:
                for character in text:
                    if y < HEIGHT and x < WIDTH:
                        wanted[y][x] = (character, *looks(sgr))
                    x += 1
        terminal.send()
        assert terminal.seen() == wanted


@pytest.mark.parametrize(
    ("first", "then", "shown"),
    [
        ("神経ab", "神経xb", "神経xb"),
        ("神経ab", "神aaab", "神aaab"),
        ("abcdef", "神cdef", "神cdef"),
        ("e\u0301ab", "e\u0301xb", "e\u0301xb"),
    ],
)
def test_wide_characters_and_accents_keep_their_places(first, then, shown):
    terminal = Terminal()
    for text in (first, then):
        terminal.glass.put(1, 2, [(text, "")])
        terminal.send()
    line = "".join(terminal.screen.buffer[1][x].data for x in range(WIDTH)).rstrip()
    assert line.strip() == pyte_text(shown)


def pyte_text(text):
    screen = pyte.Screen(WIDTH, 1)
    pyte.Stream(screen).feed(text)
    return "".join(screen.buffer[0][x].data for x in range(WIDTH)).rstrip()


def test_half_a_wide_character_never_stays():
    terminal = Terminal()
    terminal.glass.put(0, 0, [("神経", "")])
    terminal.send()
    terminal.glass.put(0, 0, [("a", "")])
    terminal.send()
    assert terminal.screen.display[0].rstrip() == "a 経"
    terminal.glass.put(0, WIDTH - 1, [("神", "")])
    terminal.send()
    assert terminal.screen.display[0].rstrip() == "a 経"


def test_nothing_changed_sends_nothing():
    terminal = Terminal()
    terminal.glass.put(0, 0, [("abc", "1")])
    assert terminal.send((3, 0))
    terminal.glass.put(0, 0, [("abc", "1")])
    assert terminal.send((3, 0)) == ""


def test_only_the_cells_that_changed_are_sent():
    terminal = Terminal()
    terminal.glass.put(2, 0, [("knee  2+  2+  likely", "")])
    terminal.send((9, 4))
    terminal.glass.put(2, 0, [("knee  2+  0   likely", "")])
    assert terminal.send((9, 4)) == "\x1b[3;11H0 \x1b[5;10H"


def test_after_something_else_drew_everything_is_sent_again():
    terminal = Terminal()
    terminal.glass.put(1, 0, [("kept", "7")])
    terminal.send()
    terminal.screen.reset()
    terminal.glass.forget()
    terminal.send()
    assert terminal.screen.display[1].startswith("kept")


def test_a_new_size_is_a_new_glass():
    terminal = Terminal()
    terminal.glass.put(0, 0, [("a" * WIDTH, "")])
    terminal.glass.resize(10, 2)
    terminal.glass.put(0, 0, [("b" * WIDTH, "")])
    terminal.glass.put(4, 0, [("off the glass", "")])
    assert terminal.glass.changes((0, 0)).count("b") == 10
