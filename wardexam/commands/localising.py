"""Commands that reason without a ward: `localise`, and the schema of what it reads."""

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from wardexam.commands import edge
from wardexam.errors import InputError, WardexamError

if TYPE_CHECKING:
    from wardexam.exam.sheet import Sheet


def _sheets(options: argparse.Namespace) -> list[tuple[str, "Sheet | WardexamError"]]:
    """Every sheet of the input with the place it came from; a refused one as its error."""
    import json

    from wardexam.exam.sheet import read_sheet
    from wardexam.exam.typed import read_line

    if options.signs:
        text, name = options.signs, "--signs"
    elif options.file in (None, "-"):
        if sys.stdin.isatty():
            print("Type findings, a line each; end with Ctrl-D.", file=sys.stderr)
        text, name = sys.stdin.read(), "standard input"
    else:
        try:
            text, name = Path(options.file).read_text(encoding="utf-8"), options.file
        except (OSError, UnicodeDecodeError) as error:
            reason = error.strerror if isinstance(error, OSError) else "not UTF-8 text"
            raise InputError(f"cannot be read: {reason}", where=options.file) from None
    whole = text.lstrip().startswith("{")
    if whole:
        try:
            json.loads(text)
        except json.JSONDecodeError as error:
            whole = not error.msg.startswith("Extra data")
        except RecursionError:
            raise InputError("nested too deeply", where=name) from None
    pieces = (
        [(name, text)]
        if whole
        else [
            (f"{name}, line {n}", line)
            for n, line in enumerate(text.splitlines(), 1)
            if line.strip()
        ]
    )
    found: list[tuple[str, Sheet | WardexamError]] = []
    for place, piece in pieces or [(name, "{}")]:
        try:
            found.append(
                (place, (read_sheet if piece.lstrip().startswith("{") else read_line)(piece))
            )
        except WardexamError as error:
            found.append((place, error))
    return found


def localise(options: argparse.Namespace) -> int:
    """Rank the sites that fit the findings, without a screen."""
    import json
    from dataclasses import asdict

    from wardexam import ready
    from wardexam.exam.text import clean
    from wardexam.note.note import urgency_lines
    from wardexam.note.suggestion import CAUTION, reading_lines
    from wardexam.reasoning.rules.urgency import assess

    code = 0
    engine = None
    wording = edge.spoken(options)
    for place, sheet in _sheets(options):
        try:
            if isinstance(sheet, WardexamError):
                raise sheet
            examination = sheet.examination()
            engine = engine or ready.engine()
            reading = engine.read(examination)
            urgency = assess(examination, None, reading, wording)
        except WardexamError as error:
            edge.complain(f"{place}: {error}")
            code = error.exit_code
            continue
        if options.json:
            answer: dict[str, Any] = {"id": sheet.id, **asdict(reading)}
            answer["urgency"] = asdict(urgency)
            answer["caution"] = CAUTION
            print(json.dumps(answer, ensure_ascii=True, default=str))
        else:
            if sheet.id:
                print(f"== {clean(sheet.id)}")
            print("\n".join([*urgency_lines(urgency), *reading_lines(reading), ""]))
    return code


def schema(options: argparse.Namespace) -> int:
    """Print the JSON Schema of what localise reads."""
    import json

    from wardexam.exam.sheet import sheet_schema

    print(json.dumps(sheet_schema(), indent=2))
    return 0
