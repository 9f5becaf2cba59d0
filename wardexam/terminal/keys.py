"""The one table of keys: handlers, hint lines, help and the README are made from it.

Names are Textual's. Letters that terminals use inside escape sequences never write.
"""

from dataclasses import dataclass

from wardexam.errors import TableError


@dataclass(frozen=True, slots=True)
class Key:
    """One action: its id, the keys that do it, a label for the hint line, and what it does."""

    action: str
    keys: tuple[str, ...]
    label: str
    does: str


MOVES = (
    Key("up", ("up", "k"), "", "move up"), Key("down", ("down", "j"), "", "move down"),
    Key("left", ("left", "h"), "", "move to the right side of the body"), Key("right", ("right", "l"), "", "move to the left side of the body"),
)  # fmt: skip

EXAMINE = (
    *MOVES,
    Key("both", ("b",), "b both", "the next grade goes to both sides"),
    Key("reinforced", ("r",), "r reinforced", "the reflex came only with reinforcement"),
    Key("quality", ("v",), "v quality", "inverted, crossed, pendular, slow to relax"),
    Key("not_testable", ("x",), "x not testable", "not testable, then the reason's letter"),
    Key("clear", ("full_stop", "backspace", "delete"), ". clear", "take the finding away: not examined"),
    Key("number", ("enter",), "enter number", "type beats, degrees, mL or a sensory level"),
    Key("comment", ("c",), "c comment", "a comment on this finding, or on all when blank"),
    Key("undo", ("u",), "u undo", "undo"), Key("redo", ("U",), "", "redo"),
    Key("jump", ("g",), "g go", "go to a reflex by its letter"),
    Key("unexamined", ("space",), "space next", "go to the next sign not examined"),
    Key("suggested", ("t",), "t suggested", "go to the sign that would tell most"),
    Key("order", ("o",), "", "grade side to side, or one side down"),
    Key("part", ("tab", "p"), "tab part", "next part of the examination"),
    Key("part_back", ("shift+tab",), "", "part before"),
    Key("rows", ("m",), "m rows", "another set of rows: then its number"),
    Key("flags", ("f",), "f flags", "red flags: 1 or y yes, 0 or n no"),
    Key("rest", ("e",), "", "state: rest of this limb examined, normal; again withdraws"),
    Key("figure", ("d",), "", "draw the body: grades at their sites, lost sensation shaded"),
    Key("scale", ("z",), "", "next reflex scale"),
    Key("accept", ("a",), "", "accept the suggestion into the note; again withdraws"),
    Key("impression", ("i",), "", "write your own impression"),
    Key("context", ("w",), "w context", "onset, complaint, its side, whether the patient bears weight"),
    Key("save", ("s",), "s save", "save and show the note"),
    Key("leave", ("q", "escape"), "q ward", "back to the ward; the draft is kept"),
    Key("help", ("question_mark",), "? help", "this help"),
)  # fmt: skip

WARD = (
    *MOVES[:2],
    Key("open", ("enter",), "enter examine", "examine; a draft left open is resumed"),
    Key("note", ("n",), "n note", "the last note"),
    Key("course", ("v",), "v course", "examinations, changes and course"),
    Key("search", ("slash",), "/ search", "search by bed or name"),
    Key("order", ("o",), "o order", "by bed, urgency, worsening, due"),
    Key("admit", ("a",), "a admit", "admit a patient"), Key("edit", ("e",), "e edit", "edit details, or move"),
    Key("discharge", ("d",), "d discharge", "discharge, or restore in the discharged list"),
    Key("discharged", ("x",), "x discharged", "show discharged patients, or the ward"),
    Key("set_aside", ("w",), "", "set the patient's draft aside"),
    Key("handover", ("y",), "y handover", "the handover sheet"),
    Key("hide", ("z",), "", "hide the screen; any key shows it again"),
    Key("help", ("question_mark",), "? help", "this help"),
    Key("leave", ("q",), "q quit", "quit"),
)  # fmt: skip

TEXT = (
    *MOVES[:2],
    Key("copy", ("c",), "c copy", "send to the terminal's clipboard"),
    Key("print", ("p",), "p print", "print on the plain screen for selecting"),
    Key("form", ("f",), "f form", "reflexes as table, line, figure"),
    Key("scale", ("z",), "z scale", "show reflexes on the next scale"),
    Key("referral", ("r",), "r referral", "the referral, or the note"),
    Key("amend", ("m",), "m amend", "amend this examination: a further revision, with the reason"),
    Key("file", ("w",), "w file", "write to a private file"),
    Key("leave", ("q", "escape"), "q back", "back"),
)  # fmt: skip

SCREENS = {"ward": WARD, "examine": EXAMINE, "text": TEXT}


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
    """The labels that fit a line."""
    line = ""
    for row in keys:
        if row.label and len(line) + len(row.label) + 2 <= width:
            line += ("  " if line else "") + row.label
    return line
