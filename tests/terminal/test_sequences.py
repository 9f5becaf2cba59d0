"""What a terminal sends, cut at any place by the link, never turns into a grade."""

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wardexam.terminal.keys import SCREENS, shown
from wardexam.terminal.sequences import (
    PASTE_END,
    PASTE_MOST,
    PASTE_START,
    PASTE_WAIT,
    SEQUENCE_WAIT,
    Cutter,
)

DELAY = 0.25


def cut(*pieces: str, gap: float = 0.01) -> list[tuple[str, str]]:
    """Tokens of pieces that arrive `gap` seconds apart, and of a long silence after them."""
    cutter, now, tokens = Cutter(DELAY), 100.0, []
    for piece in pieces:
        tokens += cutter.tick(now)
        tokens += cutter.feed(piece, now)
        now += gap
    tokens += cutter.tick(now + PASTE_WAIT)
    return joined(tokens)


def joined(tokens) -> list[tuple[str, str]]:
    """Neighbouring texts as one, since where plain text is cut means nothing."""
    out: list[tuple[str, str]] = []
    for kind, text in tokens:
        if kind == "text" and out and out[-1][0] == "text":
            out[-1] = ("text", out[-1][1] + text)
        else:
            out.append((kind, text))
    return out


TABLE = [
    ("122\r", [("text", "122\r")]),
    ("1\x1b[B2", [("text", "1"), ("sequence", "\x1b[B"), ("text", "2")]),
    ("\x1bOB", [("sequence", "\x1bOB")]),
    ("\x1b[15~", [("sequence", "\x1b[15~")]),
    ("\x1b[1;5C", [("sequence", "\x1b[1;5C")]),
    ("\x1b[[A", [("sequence", "\x1b[[A")]),
    ("\x1b[M 2!1", [("sequence", "\x1b[M 2!"), ("text", "1")]),
    ("\x1b[<0;12;5M", [("sequence", "\x1b[<0;12;5M")]),
    ("\x1b", [("escape", "\x1b")]),
    ("\x1b2", [("escape", "\x1b"), ("text", "2")]),
    ("\x1b\x1b[A", [("escape", "\x1b"), ("sequence", "\x1b[A")]),
    ("\x1bP23j", [("escape", "\x1b"), ("text", "P23j")]),
    ("\x1b[200~knee 2/0\r\x1b[201~3", [("paste", "knee 2/0\r"), ("text", "3")]),
    ("\x1b[200~\x1b[31m2\0222\x1b[201~", [("paste", "\x1b[31m2\x122")]),
    ("\x1b[201~2", [("text", "2")]),
    ("\x1b[12\r", [("text", "\r")]),
    # Late answers to an earlier program's questions.
    ("\x1b]11;rgb:1a1a/1a1a/1a1a\x1b\\2", [("text", "2")]),
    ("\x1b]11;rgb:1a1a/1a1a/1a1a\x072", [("text", "2")]),
    ("\x1bP>|term(380)\x1b\\2", [("text", "2")]),
]


@pytest.mark.parametrize(("sent", "tokens"), TABLE)
def test_input_is_cut_into_keys_sequences_and_pastes(sent, tokens):
    assert cut(sent) == tokens


@pytest.mark.parametrize(("sent", "tokens"), TABLE)
def test_the_link_may_cut_it_anywhere(sent, tokens):
    for place in range(1, len(sent)):
        assert cut(sent[:place], sent[place:]) == tokens
    assert cut(*sent) == tokens


@pytest.mark.parametrize("sequence", ["\x1b[15~", "\x1b[B", "\x1b[1;2R", "\x1b[1~"])
def test_a_sequence_cut_by_a_stall_gives_no_character_of_its_own(sequence):
    for place in range(1, len(sequence)):
        tokens = cut(sequence[:place], sequence[place:], gap=2.0)
        assert not [text for kind, text in tokens if kind == "text"]


KEYS = [row.keys for table in SCREENS.values() for row in table]
TYPED = sorted(
    {sign for keys in KEYS for key in keys if len(sign := shown(key)) == 1} | set("0123456789+-")
)


@pytest.mark.parametrize("key", TYPED)
@pytest.mark.parametrize("cuts", ["in one piece", "one after the other"])
def test_a_key_right_behind_escape_is_a_key_and_so_is_escape(key, cuts):
    pieces = (f"\x1b{key}",) if cuts == "in one piece" else ("\x1b", key)
    assert cut(*pieces) == [("escape", "\x1b"), ("text", key)]
    # And the one after that, once it is clear that nothing else belongs to it.
    assert cut(*pieces, "j", gap=2 * DELAY) == [("escape", "\x1b"), ("text", f"{key}j")]


def test_the_rest_of_a_sequence_that_never_comes_is_dropped():
    cutter = Cutter(DELAY)
    assert cutter.feed("\x1b[1", 0.0) == []
    assert cutter.tick(SEQUENCE_WAIT) == []
    assert joined(cutter.feed("2", SEQUENCE_WAIT + 1)) == [("text", "2")]


def test_escape_is_a_key_once_nothing_follows():
    cutter = Cutter(DELAY)
    assert cutter.feed("\x1b", 0.0) == []
    assert cutter.deadline == DELAY
    assert cutter.tick(DELAY / 2) == []
    assert joined(cutter.tick(DELAY)) == [("escape", "\x1b")]
    assert cutter.deadline is None


def test_the_end_mark_of_a_paste_may_stall_too():
    for place in range(1, len(PASTE_END)):
        first, rest = PASTE_END[:place], PASTE_END[place:]
        assert cut(PASTE_START + "222" + first, rest + "3", gap=4.0) == [
            ("paste", "222"),
            ("text", "3"),
        ]


def test_a_paste_whose_end_is_lost_ends_after_a_silence():
    cutter = Cutter(DELAY)
    cutter.feed(PASTE_START + "22", 0.0)
    assert joined(cutter.tick(PASTE_WAIT)) == [("paste", "22")]
    assert joined(cutter.feed("1", PASTE_WAIT + 1)) == [("text", "1")]


def test_a_huge_paste_is_cut_short_and_still_ends():
    (kind, text), rest = cut(PASTE_START + "x" * (3 * PASTE_MOST) + PASTE_END + "1")
    assert (kind, len(text), rest) == ("paste", PASTE_MOST, ("text", "1"))


pieces = st.sampled_from(
    ["1", "2", "j", "é", "\x1b[A", "\x1bOB", "\x1b[15~", "\x1b[I", "\x1b[200~2[1\x1b[201~", "\r"]
)


@given(st.lists(pieces, max_size=12).map("".join), st.data())
def test_however_it_is_cut_the_keys_are_the_same(sent, data):
    places = sorted(data.draw(st.sets(st.integers(0, len(sent)), max_size=6)))
    edges = [0, *places, len(sent)]
    parts = [sent[a:b] for a, b in itertools.pairwise(edges)]
    assert cut(*parts) == cut(sent)


@given(st.text(alphabet="\x1b[]OPM0123456789;?~ABRm \r", max_size=40))
def test_any_input_is_taken_without_an_error_and_nothing_is_made_up(sent):
    given_on = "".join(text for _, text in cut(sent))
    assert all(given_on.count(c) <= sent.count(c) for c in set(given_on))
