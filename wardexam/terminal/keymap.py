"""The user's own keys: a keys file in TOML, taken whole or refused with the line and the reason.

A table for each screen (``ward``, ``examine``, ``text``), in it an action and its key or keys::

    [examine]
    undo = "n"
    clear = [".", "backspace"]
"""

from collections.abc import Iterator
from dataclasses import replace
from typing import Any

from wardexam.errors import TableError
from wardexam.settings import line_of, read_toml
from wardexam.terminal.keys import FORMER, GONE, SCREENS, SIGNS, Key, shown

Keymap = dict[str, tuple[Key, ...]]
STAYS = "the built-in keys stay"
NAMES = {sign: name for name, sign in SIGNS.items()}
NAMED = frozenset({
    "up", "down", "left", "right", "enter", "escape", "space", "tab", "shift+tab", "backspace", "delete",
    "home", "end", "pageup", "pagedown", "insert",
})  # fmt: skip
# Last letters and marks of the sequences that arrow and function keys send (ECMA-48, xterm's control
# sequences): one that a slow link cuts in two ends in such a letter.
IN_SEQUENCES = frozenset("ABCDEFHIMOPQRSZ[]~")
GRADES = frozenset("0123456789-+=yn")
GRADING = {
    "examine": GRADES,
    "injury": frozenset("0123456789"),
}  # by the screens that write at a key


def read_keys(text: str, where: str = "keys.toml") -> Keymap:
    """The keys of every screen, with the user's own in the place of the built-in ones.

    Raises:
        TableError: Anything in the file cannot be; with the line and the reason.
    """
    table = {s: _present(s, rows) for s, rows in read_toml(text, where, STAYS).items()}
    found = dict(SCREENS)

    def refused(screen: str, action: str, fault: str) -> TableError:
        former = next(
            (old for (at, old), now in FORMER.items() if (at, now) == (screen, action)), ""
        )
        line = max(line_of(text, screen, name) for name in (action, former))
        return TableError(fault, f"{where}, line {line}", STAYS)

    for screen, rows in table.items():
        for action, fault in _faults(screen, rows):
            raise refused(screen, action, fault)
        found[screen] = tuple(
            replace(row, keys=_keys(rows[row.action])) if row.action in rows else row
            for row in SCREENS[screen]
        )
        for action, fault in _conflicts(found[screen], set(rows)):
            raise refused(screen, action, fault)
    return found


def _present(screen: str, rows: Any) -> Any:
    """A screen's rows with the actions by the names that they have now."""
    if not isinstance(rows, dict):
        return rows
    return {FORMER.get((screen, action), action): value for action, value in rows.items()}


def _keys(value: str | list[str]) -> tuple[str, ...]:
    return tuple(NAMES.get(k, k) for k in ([value] if isinstance(value, str) else value))


def _faults(screen: str, rows: Any) -> Iterator[tuple[str, str]]:
    """What is wrong, each with the action it stands at."""
    if screen not in SCREENS:
        yield "", f"no screen is called '{screen}': there are {', '.join(SCREENS)}"
        return
    if not isinstance(rows, dict):
        yield "", f"'{screen}' is a table of actions with their keys"
        return
    actions = [row.action for row in SCREENS[screen]]
    for action, value in rows.items():
        keys = [value] if isinstance(value, str) else value
        if (screen, action) in GONE:
            yield action, f"[{screen}] has '{action}' no more: {GONE[screen, action]}"
        elif action not in actions:
            yield action, f"[{screen}] has no action '{action}': it has {', '.join(actions)}"
        elif not isinstance(keys, list) or not keys or not all(isinstance(k, str) for k in keys):
            yield action, f"'{action}' needs a key, or a list of keys"
        else:
            own = next(row.keys for row in SCREENS[screen] if row.action == action)
            mine = [k for k in keys if NAMES.get(k, k) not in own]
            yield from ((action, said) for key in mine if (said := _refused(screen, key)))
            if action == "leave" and set(keys) == {"escape"}:
                yield action, "'leave' needs a key beside escape, which is slow over some links"


def _refused(screen: str, key: str) -> str:
    """Why a key can never be used; empty when it can."""
    if key in IN_SEQUENCES and (screen in GRADING or not key.isalpha()):
        return f"'{key}' can never be used: terminals send it inside other keys"
    if key in GRADING.get(screen, ()):
        return f"'{key}' can never be used here: it grades or answers"
    if key in NAMED or (len(key) == 1 and "!" <= key <= "~"):
        return ""
    return f"'{key}' is no key: one character, or {', '.join(sorted(NAMED))}"


def _conflicts(rows: tuple[Key, ...], mine: set[str]) -> Iterator[tuple[str, str]]:
    owner: dict[str, str] = {}
    for row in rows:
        for key in row.keys:
            if key in owner:
                at = row.action if row.action in mine else owner[key]
                yield at, f"'{shown(key)}' is both '{owner[key]}' and '{row.action}'"
            owner[key] = row.action


def as_toml(keymap: Keymap) -> str:
    """The keys as a keys file."""
    lines = ["# Keys of wardexam. Keep only what you change."]
    for screen, rows in keymap.items():
        lines += ["", f"[{screen}]"]
        for row in rows:
            keys = ", ".join("'\"'" if k == "quotation_mark" else f'"{shown(k)}"' for k in row.keys)
            keys = keys.replace('"\\"', '"\\\\"')
            lines.append(f"{row.action} = [{keys}]  # {row.does}")
    return "\n".join(lines) + "\n"
