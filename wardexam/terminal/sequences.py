"""Cuts what a terminal sends into keys, escape sequences and pastes, wherever the link cut it.

A slow link may deliver the first half of an arrow key now and the rest later. Taken as keys the
rest would grade a sign ("ESC [ 1 5 ~" holds a 1 and a 5), and so would a pasted block whose end
mark came in two pieces. Nothing in a sequence or a paste is ever given on as a key here, but for
the O of a function key that a link stops behind: Escape and O are keys as well, and O writes nothing.
"""

import re
from typing import Literal, NamedTuple

PASTE_START, PASTE_END = "\x1b[200~", "\x1b[201~"
PASTE_MOST = 65_536  # characters kept of one paste
SEQUENCE_WAIT = 5.0  # seconds until the rest of a sequence is given up, and the piece dropped
PASTE_WAIT = 30.0  # seconds of silence until a paste without an end mark is taken as ended

# In order: old mouse reports, function keys of the Linux console, CSI, SS3, and the strings with
# which a terminal answers a question (OSC, DCS: ECMA-48), perhaps one that an earlier program put.
_STRING = r"(?:\]\d{1,4};|P\d*[>$+!|=])[^\x07\x1b]*"
_COMPLETE = re.compile(
    r"\x1b(?:\[M[\s\S]{3}|\[\[[\s\S]|\[(?![M\[])[0-?]*[ -/]*[@-~]|O[0-9;]*[@-~]"
    rf"|{_STRING}(?:\x07|\x1b\\))"
)
_BEGUN = re.compile(
    rf"\x1b(?:\[M[\s\S]{{0,2}}|\[\[|\[[0-?]*[ -/]*|O[0-9;]*|\]\d{{0,4}}|P\d*|{_STRING}\x1b?)?\Z"
)
_DECIDED = re.compile(rf"\x1b(?:\[|O[0-9;]|{_STRING})")
_MALFORMED = re.compile(rf"\x1b(?:\[[0-?]*[ -/]*|O[0-9;]+|{_STRING})")
_TAIL = re.compile(r"\[|O[A-Za-z]\Z")


class Token(NamedTuple):
    """A piece of input: plain text, one whole sequence, the Escape key, or a paste."""

    kind: Literal["text", "sequence", "escape", "paste"]
    text: str


class Cutter:
    """Turns decoded input into tokens; keeps what is not yet whole.

    Args:
        escape_delay: Seconds after which an ESC alone is the Escape key.

    """

    def __init__(self, escape_delay: float) -> None:
        self._escape_delay = escape_delay
        self._held = ""
        self._paste: list[str] | None = None
        self._since = 0.0
        self._lone_escape: float | None = None

    @property
    def deadline(self) -> float | None:
        """When `tick` has something to decide, on the clock that `feed` is given."""
        if self._paste is not None:
            return self._since + PASTE_WAIT
        if not self._held:
            return None
        whole = _DECIDED.match(self._held) is not None
        return self._since + (SEQUENCE_WAIT if whole else self._escape_delay)

    def feed(self, text: str, now: float) -> list[Token]:
        """The tokens that are whole once `text` has arrived at time `now`, in order."""
        self._since = now
        tokens: list[Token] = []
        swallow = False
        if self._lone_escape is not None:
            # The ESC was taken for the Escape key, and here comes the rest of its sequence.
            swallow = now - self._lone_escape < SEQUENCE_WAIT and _TAIL.match(text) is not None
            self._lone_escape = None
        data = ("\x1b" if swallow else self._held) + text
        self._held = ""
        while data:
            data = (
                self._in_paste(data, tokens) if self._paste is not None else self._cut(data, tokens)
            )
            if swallow and tokens and tokens[0].kind in ("sequence", "escape"):
                del tokens[0]
            swallow = False
        return tokens

    def tick(self, now: float) -> list[Token]:
        """The tokens that the passing of time makes whole."""
        deadline = self.deadline
        if deadline is None or now < deadline:
            return []
        held, self._held = self._held, ""
        if self._paste is not None:
            return [self._end_paste()]
        if _DECIDED.match(held):
            return []
        if held == "\x1b":
            self._lone_escape = now
        typed = [Token("text", held[1:])] if held[1:] else []
        return [Token("escape", "\x1b"), *typed]

    def _cut(self, data: str, tokens: list[Token]) -> str:
        """Take one token off the front of `data`, or hold it; give the rest."""
        start = data.find("\x1b")
        if start:
            plain = data if start < 0 else data[:start]
            tokens.append(Token("text", plain))
            return data[len(plain) :]
        if found := _COMPLETE.match(data):
            sequence = found[0]
            if sequence == PASTE_START:
                self._paste = []
            elif sequence != PASTE_END and sequence[1] in "[O":
                tokens.append(Token("sequence", sequence))
            return data[found.end() :]
        if _BEGUN.match(data):
            self._held = data
            return ""
        if found := _MALFORMED.match(data):
            return data[found.end() :]
        # ESC and a key typed ahead of each other; chords with Alt have no meaning here.
        tokens.append(Token("escape", "\x1b"))
        return data[1:]

    def _in_paste(self, data: str, tokens: list[Token]) -> str:
        assert self._paste is not None
        end = data.find(PASTE_END)
        if end < 0:
            # The end mark itself may be cut in two.
            kept = next((n for n in range(5, 0, -1) if data.endswith(PASTE_END[:n])), 0)
            self._keep(data[: len(data) - kept])
            self._held = data[len(data) - kept :]
            return ""
        self._keep(data[:end])
        tokens.append(self._end_paste())
        return data[end + len(PASTE_END) :]

    def _keep(self, text: str) -> None:
        assert self._paste is not None
        room = PASTE_MOST - sum(map(len, self._paste))
        if text and room > 0:
            self._paste.append(text[:room])

    def _end_paste(self) -> Token:
        pasted, self._paste = "".join(self._paste or ()), None
        return Token("paste", pasted.replace("\0", ""))
