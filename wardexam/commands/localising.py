"""Commands that reason without a ward: `localise`, and the schema of what it reads."""

import argparse
from typing import Any

from wardexam.commands import edge
from wardexam.errors import WardexamError


def localise(options: argparse.Namespace) -> int:
    """Rank the sites that fit the findings, without a screen."""
    import json
    from dataclasses import asdict

    from wardexam import ready
    from wardexam.commands.sheets import sheets
    from wardexam.note.note import urgency_lines
    from wardexam.note.suggestion import CAUTION, reading_lines
    from wardexam.reasoning.rules.urgency import assess

    code = 0
    engine = None
    wording = edge.spoken(options)
    for place, sheet in sheets(options):
        try:
            if isinstance(sheet, WardexamError):
                raise sheet
            findings = sheet.spelled_out()
            engine = engine or ready.engine()
            reading = engine.read(findings)
            urgency = assess(findings, None, reading, wording)
        except WardexamError as error:
            edge.complain(f"{place}: {error}")
            code = error.exit_code
            continue
        if options.json:
            answer: dict[str, Any] = {"id": sheet.id, **asdict(reading)}
            answer["urgency"] = asdict(urgency)
            answer["caution"] = CAUTION
            edge.put(json.dumps(answer, ensure_ascii=True, default=str) + "\n")
        else:
            head = [f"== {edge.on_one_line(sheet.id)}"] if sheet.id else []
            lines = [*head, *urgency_lines(urgency), *reading_lines(reading), ""]
            edge.put("\n".join(lines) + "\n")
    return code


def schema(options: argparse.Namespace) -> int:
    """Print the JSON Schema of what localise reads."""
    import json

    from wardexam.exam.sheet import sheet_schema

    edge.put(json.dumps(sheet_schema(), indent=2) + "\n")
    return 0
