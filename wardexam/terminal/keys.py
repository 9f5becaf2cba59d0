"""The one table of keys: handlers, hint lines, help and the README are made from it.

Names are Textual's. A letter means one thing on every screen where it is used: small letters belong to the signs of an
examination, capitals to the patient, the list and the papers. Letters that terminals use inside escape sequences never
write: all they do is open, show or ask.
"""

import itertools
import textwrap
from dataclasses import dataclass

from wardexam.errors import TableError
from wardexam.exam.act_kinds import ACT_KINDS


@dataclass(frozen=True, slots=True)
class Key:
    """One action: its id, the keys that do it, a word for the hint line, and what it does."""

    action: str
    keys: tuple[str, ...]
    label: str
    does: str


MOVES = (
    Key("up", ("up", "k"), "", "move up"), Key("down", ("down", "j"), "", "move down"),
    Key("left", ("left", "h"), "", "to the right side of the body"), Key("right", ("right", "l"), "", "to the left side of the body"),
)  # fmt: skip

ALWAYS = (
    Key("help", ("question_mark",), "help", "the keys"),
    Key("commands", ("colon",), "commands", "search a command and run it"),
    Key("repaint", ("ctrl+l",), "", "draw the screen anew"),
    Key("suspend", ("ctrl+z",), "", "to the shell; fg comes back"),
)

EXAMINE = (
    *MOVES,
    Key("both", ("b",), "both", "next grade goes to both sides"),
    Key("unchanged", ("comma", "equals_sign"), "unchanged", "earlier grade here, unchanged"),
    Key("find", ("slash",), "find", "to any sign, flag or onset"),
    Key("why", ("exclamation_mark",), "why now", "why now: every reason"),
    Key("reinforced", ("r",), "reinforced", "came only with reinforcement"),
    Key("quality", ("v",), "quality", "inverted, crossed, pendular"),
    Key("not_testable", ("x",), "not testable", "not testable, then why"),
    Key("known", ("K",), "known before", "known before; again: new"),
    Key("clear", ("full_stop", "backspace", "delete"), "clear", "clear: not examined"),
    Key("number", ("enter",), "number", "type a number, level or range"),
    Key("comment", ("c",), "comment", "comment on this, or on all"),
    Key("undo", ("u",), "undo", "undo"), Key("redo", ("U",), "", "redo"),
    Key("jump", ("g",), "go", "go to a reflex by its letter"),
    Key("unexamined", ("space",), "next", "next sign not examined"),
    Key("suggested", ("t",), "suggested", "the sign that would tell most"),
    Key("order", ("o",), "", "side to side, or one side down"),
    Key("part", ("tab",), "part", "next part of the examination"),
    Key("part_back", ("shift+tab",), "", "part before"),
    Key("rows", ("m",), "rows", "another set of rows by number"),
    Key("flags", ("f",), "flags", "red flags: 1 or y, 0 or n"),
    Key("rest", ("e",), "", "rest of limb examined, normal"),
    Key("swap", ("less_than_sign", "greater_than_sign"), "", "swap right and left; asks"),
    Key("figure", ("d",), "", "draw the findings on a body"),
    Key("scale", ("z",), "", "reflex scale; asks if graded"),
    Key("accept", ("a",), "", "suggestion into note, or out"),
    Key("impression", ("i",), "", "write your own impression"),
    Key("made", ("Y",), "", "when examined, if before now"),
    Key("injury", ("J",), "", "the cord injury sheet"),
    Key("context", ("w",), "context", "story: complaint, pain, injury"),
    Key("save", ("s",), "save", "save and show the note"),
    Key("leave", ("q", "escape"), "ward", "to the ward; the draft is kept"),
    *ALWAYS,
)  # fmt: skip

WARD = (
    *MOVES[:2],
    Key("open", ("enter",), "examine", "examine; a draft left open is resumed"),
    Key("note", ("n",), "note", "the last note"),
    Key("why", ("exclamation_mark",), "why now", "why now: every reason, and what was done"),
    Key("course", ("V",), "course", "over the visits: examinations, changes, course"),
    Key("injury", ("J",), "", "the cord injury sheet: a draft of it is resumed"),
    Key("find", ("slash",), "find", "find a bed, name or number"),
    Key("order", ("O",), "order", "by bed, urgency, worsening, due"),
    Key("admit", ("A",), "admit", "admit a patient"), Key("edit", ("E",), "edit", "edit details, or move"),
    Key("discharge", ("D",), "discharge", "discharge, or restore in the discharged list"),
    Key("discharged", ("X",), "discharged", "show discharged patients, or the ward"),
    Key("outcome", ("L",), "", "what it was at last: image, site, diagnosis"),
    Key("set_aside", ("T",), "", "take the patient's draft away: set aside"),
    Key("handover", ("H",), "handover", "the handover sheet"),
    Key("hide", ("Z",), "", "hide the screen; any key shows it again"),
    Key("leave", ("q",), "quit", "quit"),
    *ALWAYS,
)  # fmt: skip

TEXT = (
    Key("up", ("up", "k"), "", "scroll up"), Key("down", ("down", "j"), "scroll", "scroll down"),
    Key("page_up", ("pageup", "B"), "", "a page back"), Key("page_down", ("pagedown", "N"), "", "the next page"),
    Key("earlier", ("left", "h"), "earlier", "the one before: an earlier examination, sheet or revision"),
    Key("later", ("right", "l"), "", "the one after"),
    Key("copy", ("C",), "copy", "send to the terminal's clipboard"),
    Key("referral", ("R",), "referral", "the referral, or the note"),
    Key("amend", ("M",), "amend", "amend it: a further revision, with why"),
    Key("in_error", ("I",), "in error", "entered in error: counts no more; again: counts"),
    Key("print", ("P",), "plain", "print on the plain screen for selecting"),
    Key("form", ("F",), "form", "reflexes as table, line, figure"),
    Key("scale", ("z",), "scale", "show reflexes on the next scale"),
    Key("file", ("W",), "file", "write to a private file"),
    Key("leave", ("q", "escape"), "back", "back"),
    *ALWAYS,
)  # fmt: skip

INJURY = (
    Key("up", ("up", "k"), "", "move up"), Key("down", ("down", "j"), "", "move down"),
    Key("left", ("left", "h"), "", "the column before"), Key("right", ("right", "l"), "", "the next column"),
    Key("number", ("enter",), "range", "type ranges: 2t9, 1t12, 0; a slash before the left"),
    Key("both", ("b",), "both", "next entry goes to both sides"),
    Key("save", ("s",), "save", "save and show the worksheet"),
    Key("not_testable", ("x",), "not testable", "not testable"),
    Key("other_cause", ("asterisk",), "mark", "not from the injury; again: how it counts"),
    Key("clear", ("full_stop", "backspace", "delete"), "clear", "clear: not entered"),
    Key("undo", ("u",), "undo", "undo"), Key("redo", ("U",), "", "redo"),
    Key("take_over", ("p",), "take over", "power and sensation of the examination, here"),
    Key("to_signs", ("G",), "to exam", "these scores, into the examination"),
    Key("reasons", ("y",), "why", "why: further reasons of the results"),
    Key("unexamined", ("space",), "next", "next score not entered"),
    Key("suggested", ("t",), "", "the score that would settle most"),
    Key("part", ("tab",), "column", "top of the next column, then the questions"),
    Key("comment", ("c",), "", "comment on the sheet, or why a marked score counts so"),
    Key("note", ("n",), "worksheet", "the worksheet for the chart"),
    Key("set_aside", ("T",), "", "take this draft away: set aside"),
    Key("leave", ("q", "escape"), "back", "back; the draft is kept"),
    *ALWAYS,
)  # fmt: skip

REASONS = (
    *MOVES[:2],
    Key("act", ("enter",), "what was done", "what was done: called, image, not needed, brought down"),
    Key("mark", ("space",), "mark", "mark it: what you write is about all marked"),
    Key("leave", ("q", "escape"), "back", "back"),
    *ALWAYS,
)  # fmt: skip

SCREENS = {"ward": WARD, "examine": EXAMINE, "text": TEXT, "reasons": REASONS, "injury": INJURY}
# What an action was called before, by its screen: in a keys file the old name is still taken.
FORMER = {("ward", "search"): "find"}
# Actions that one key and a number stand for now: in a keys file their names are refused with it.
GONE = {
    ("reasons", name): f"press the key of 'act', then {number}"
    for number, name in enumerate(ACT_KINDS, 1)
}


def action_of(keys: tuple[Key, ...]) -> dict[str, str]:
    """Key to action.

    Raises:
        TableError: A key does two things; names both.
    """
    found: dict[str, str] = {}
    for row in keys:
        for key in row.keys:
            if key in found:
                raise TableError(f"'{key}' is both '{found[key]}' and '{row.action}'", where="keys")
            found[key] = row.action
    return found


def hint(keys: tuple[Key, ...], width: int) -> str:
    """The keys and words that fit a line; the key that shows all of them always does."""
    last = next((f"{shown(row.keys[0])} {row.label}" for row in keys if row.action == "help"), "")
    line = ""
    for row in keys:
        label = f"{shown(row.keys[0])} {row.label}"
        room = width - len(last) - 2
        if row.label and row.action != "help" and len(line) + len(label) + 2 <= room:
            line += ("  " if line else "") + label
    return f"{line}  {last}".strip()


# Signs by Textual's names for them.
SIGNS = {
    "full_stop": ".", "comma": ",", "slash": "/", "question_mark": "?", "colon": ":", "semicolon": ";", "minus": "-",
    "plus": "+", "equals_sign": "=", "underscore": "_", "exclamation_mark": "!", "number_sign": "#", "percent_sign": "%",
    "ampersand": "&", "asterisk": "*", "at": "@", "left_parenthesis": "(", "right_parenthesis": ")", "quotation_mark": '"',
    "apostrophe": "'", "less_than_sign": "<", "greater_than_sign": ">", "backslash": "\\", "vertical_line": "|",
    "left_curly_bracket": "{", "right_curly_bracket": "}", "dollar_sign": "$", "circumflex_accent": "^",
    "grave_accent": "`", "tilde": "~", "left_square_bracket": "[", "right_square_bracket": "]",
}  # fmt: skip


def shown(key: str) -> str:
    """A key as it is written on a keyboard and in a keys file."""
    return SIGNS.get(key, key)


def key_of(keys: tuple[Key, ...], action: str) -> str:
    """The first key of an action, as it is written on a keyboard; empty where there is no such action."""
    return next((shown(row.keys[0]) for row in keys if row.action == action), "")


def help_lines(keys: tuple[Key, ...], width: int, height: int) -> list[str]:
    """What every key does: in one column where that fits, else in two."""
    wide = max(len(_names(row)) for row in keys)
    one = [f"{_names(row):<{wide}}  {row.does}" for row in keys]
    if len(one) <= height or width < 78:
        return one
    room = width // 2 - 1
    entries = []
    for row in keys:
        lines = textwrap.wrap(f"{_names(row):<8} {row.does}", room, subsequent_indent=" " * 9)
        entries.append(lines)
    half = (sum(map(len, entries)) + 1) // 2
    columns: list[list[str]] = [[], []]
    for entry in entries:
        columns[bool(columns[1]) or len(columns[0]) + len(entry) > half + 1].extend(entry)
    return [
        f"{left:<{width - room}}{right}".rstrip()
        for left, right in itertools.zip_longest(*columns, fillvalue="")
    ]


def _names(row: Key) -> str:
    return " ".join(shown(key) for key in row.keys)
