"""What the environment says of the terminal, and what is set before Textual starts."""

import os
import subprocess
import sys

import pytest

from wardexam.errors import InputError
from wardexam.terminal.environment import TRUECOLOUR, Terminal, background, colours, prepare

UTF8 = {"LANG": "en_GB.UTF-8"}


def terminal_of(environ, **options) -> Terminal:
    return prepare(dict(environ), attached=True, **options)


COLOURS = [
    ({"TERM": "xterm"}, 16),
    ({"TERM": "linux"}, 16),
    ({"TERM": "screen"}, 16),
    ({"TERM": "tmux"}, 16),
    ({"TERM": "xterm-256color"}, 256),
    ({"TERM": "tmux-256color"}, 256),
    ({"TERM": "screen.xterm-256color"}, 256),
    ({"TERM": "xterm-direct"}, TRUECOLOUR),
    ({"TERM": "xterm-256color", "COLORTERM": "truecolor"}, TRUECOLOUR),
    ({"TERM": "vt100"}, 0),
    ({"TERM": "vt220"}, 0),
    ({"TERM": "vt100", "COLORTERM": "truecolor"}, 0),
    ({"TERM": "xterm-mono"}, 0),
    ({"TERM": "xterm-256color", "NO_COLOR": "1", "COLORTERM": "truecolor"}, 0),
    ({"TERM": "xterm-256color", "NO_COLOR": ""}, 256),
]


@pytest.mark.parametrize(("environ", "number"), COLOURS)
def test_the_depth_of_colour_follows_the_terminal(environ, number):
    assert colours(environ) == number


GLYPHS = [
    ({"LANG": "en_GB.UTF-8"}, False),
    ({"LANG": "C.utf8"}, False),
    ({"LC_CTYPE": "UTF-8"}, False),
    ({}, True),
    ({"LANG": "C"}, True),
    ({"LANG": "de_DE.ISO-8859-1"}, True),
    ({"LANG": "en_GB.UTF-8", "LC_ALL": "C"}, True),
    ({"LANG": "en_GB.UTF-8", "LC_CTYPE": "POSIX"}, True),
    ({"LANG": "en_GB.UTF-8", "LC_ALL": ""}, False),
    ({"LANG": "en_GB.UTF-8", "WARDEXAM_ASCII": "on"}, True),
    ({"LANG": "C", "WARDEXAM_ASCII": "off"}, False),
    ({"LANG": "en_GB.UTF-8", "TERM": "vt100"}, True),
]


@pytest.mark.parametrize(("environ", "plain"), GLYPHS)
def test_the_locale_decides_between_ascii_and_utf8(environ, plain):
    assert terminal_of({"TERM": "xterm", **environ}).ascii is plain


def test_ascii_can_be_asked_for():
    assert terminal_of({"TERM": "xterm", **UTF8}, ascii_only=True).ascii


def test_a_locale_that_python_put_there_is_not_the_terminals():
    """Under the C locale Python sets LC_CTYPE=C.UTF-8 for itself."""
    script = (
        "import os\n"
        "from wardexam.terminal.environment import prepare\n"
        "print(os.environ.get('LC_CTYPE'), prepare(os.environ, attached=True).ascii)\n"
    )
    environ = {k: v for k, v in os.environ.items() if k not in ("LANG", "LC_ALL", "LC_CTYPE")}
    environ |= {"TERM": "xterm", "LANG": "C"}
    done = subprocess.run(
        [sys.executable, "-c", script], env=environ, capture_output=True, text=True, check=True
    )
    assert done.stdout.split() == ["C.UTF-8", "True"]


BACKGROUNDS = [
    ({}, "unknown"),
    ({"TERM": "linux"}, "dark"),
    ({"COLORFGBG": "15;0"}, "dark"),
    ({"COLORFGBG": "0;15"}, "light"),
    ({"COLORFGBG": "0;default;7"}, "light"),
    ({"COLORFGBG": "nonsense"}, "unknown"),
    ({"COLORFGBG": "0;15", "WARDEXAM_BACKGROUND": "dark"}, "dark"),
    ({"WARDEXAM_BACKGROUND": "light"}, "light"),
]


@pytest.mark.parametrize(("environ", "known"), BACKGROUNDS)
def test_the_background_is_known_where_the_terminal_says_so(environ, known):
    assert background(environ) == known


REMOTE = [
    ({}, False),
    ({"SSH_CONNECTION": "10.0.0.1 50022 10.0.0.2 22"}, True),
    ({"SSH_TTY": "/dev/pts/3"}, True),
    ({"TMUX": "/run/tmux,1,0"}, True),
    ({"SSH_TTY": ""}, False),
]


@pytest.mark.parametrize(("environ", "remote"), REMOTE)
def test_a_link_is_recognised(environ, remote):
    assert terminal_of({"TERM": "xterm", **environ}).remote is remote


def test_escape_waits_longer_where_a_link_may_cut_a_sequence_in_two():
    local, remote = {"TERM": "xterm"}, {"TERM": "xterm", "SSH_TTY": "/dev/pts/0"}
    prepare(local, attached=True)
    prepare(remote, attached=True)
    assert int(local["ESCDELAY"]) < int(remote["ESCDELAY"])


MOUSE = [
    ({}, True),
    ({"SSH_TTY": "/dev/pts/3"}, False),
    ({"TMUX": "/run/tmux,1,0"}, False),
    ({"SSH_TTY": "/dev/pts/3", "WARDEXAM_MOUSE": "on"}, True),
    ({"WARDEXAM_MOUSE": "off"}, False),
]


@pytest.mark.parametrize(("environ", "mouse"), MOUSE)
def test_the_mouse_is_left_to_the_terminal_over_a_link(environ, mouse):
    assert terminal_of({"TERM": "xterm", **environ}).mouse is mouse


def test_no_animation_no_keyboard_protocol():
    environ = {"TERM": "xterm"}
    prepare(environ, attached=True)
    assert environ["TEXTUAL_ANIMATIONS"] == "none"
    assert environ["TEXTUAL_DISABLE_KITTY_KEY"] == "1"


def test_what_the_user_has_set_stays():
    mine = {"TERM": "xterm", "ESCDELAY": "40", "TEXTUAL_ANIMATIONS": "full"}
    environ = dict(mine)
    prepare(environ, attached=True)
    assert {name: environ[name] for name in mine} == mine


@pytest.mark.parametrize(("said", "kept"), [({"NO_COLOR": ""}, None), ({"NO_COLOR": "yes"}, "1")])
def test_an_empty_no_color_is_no_wish(said, kept):
    environ = {"TERM": "xterm", **said}
    prepare(environ, attached=True)
    assert environ.get("NO_COLOR") == kept


@pytest.mark.parametrize("term", [{}, {"TERM": ""}, {"TERM": "dumb"}, {"TERM": "unknown"}])
def test_a_terminal_without_a_screen_is_told_of_the_line_mode(term):
    with pytest.raises(InputError, match="wardexam enter"):
        prepare(dict(term), attached=True)


def test_a_pipe_is_told_of_the_line_mode():
    with pytest.raises(InputError, match="wardexam enter"):
        prepare({"TERM": "xterm"}, attached=False)


def test_textual_is_not_loaded_before_the_defaults_stand():
    script = (
        "import os, sys\n"
        "from wardexam.terminal.environment import prepare\n"
        "prepare(os.environ, attached=True)\n"
        "assert not {'textual', 'rich', 'numpy'} & set(sys.modules)\n"
        "from textual import constants\n"
        "print(constants.TEXTUAL_ANIMATIONS, constants.ESCAPE_DELAY, constants.COLOR_SYSTEM)\n"
    )
    environ = {**os.environ, "TERM": "xterm-256color", "SSH_TTY": "/dev/pts/9"}
    for name in ("ESCDELAY", "COLORTERM", "NO_COLOR", "TEXTUAL_ANIMATIONS"):
        environ.pop(name, None)
    done = subprocess.run(
        [sys.executable, "-c", script], env=environ, capture_output=True, text=True, check=True
    )
    assert done.stdout.split() == ["none", "0.25", "256"]
