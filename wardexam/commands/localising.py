"""Commands that reason without a ward: `localise`, and the schemas of what it reads and answers."""

import argparse
from collections import deque
from collections.abc import Callable
from typing import TYPE_CHECKING

from wardexam.commands import edge
from wardexam.errors import TableError, WardexamError

if TYPE_CHECKING:
    from wardexam.exam.examination import Findings
    from wardexam.exam.sheet import Sheet
    from wardexam.many import Asked
    from wardexam.reasoning.reading import Reading
    from wardexam.reasoning.rules.reason import Urgency
    from wardexam.reasoning.rules.wording import Wording

    Write = Callable[[Sheet, Findings, Reading, Wording], None]

EACH = 25  # answers between two lines of progress


def localise(options: argparse.Namespace) -> int:
    """Rank the sites that fit the findings, without a screen."""
    from wardexam.commands.sheets import sheets
    from wardexam.many import Drawn, readings

    code, done = 0, 0
    wording = edge.spoken(options)
    source = Drawn(sheets(options))
    asked: deque[tuple[str, Sheet | WardexamError, Findings | WardexamError]] = deque()

    def take(most: int, wait: bool) -> "list[Asked] | None":
        taken = source.take(most, wait)
        if taken is None:
            return None
        new = [(place, sheet, _findings(sheet)) for place, sheet in taken]
        asked.extend(new)
        return [findings for _, _, findings in new]

    write: Write = _csv() if options.csv else _json if options.json else _text
    for answer in readings(take):
        place, sheet, findings = asked.popleft()
        try:
            for refused in (sheet, findings, answer):
                if isinstance(refused, WardexamError):
                    raise refused
            write(sheet, findings, answer, wording)  # type: ignore[arg-type]  # no error among them
        except (edge.OutputError, TableError):  # a table's mistake is no sheet's
            raise
        except WardexamError as error:
            edge.complain(f"{place}: {error}")
            code = error.exit_code
        done += 1
        if done % EACH == 0:
            from wardexam.exam.text import counted

            edge.progress(f"{counted(done, 'sheet')} done")
    if done >= EACH:
        edge.progress("")
    return code


def _findings(sheet: "Sheet | WardexamError") -> "Findings | WardexamError":
    """A sheet spelled out, or why it cannot be."""
    if isinstance(sheet, WardexamError):
        return sheet
    try:
        return sheet.spelled_out()
    except WardexamError as error:
        return error


def _urgency(findings: "Findings", reading: "Reading", wording: "Wording") -> "Urgency":
    from wardexam.reasoning.rules.urgency import assess

    return assess(findings, None, reading, wording)


def _text(sheet: "Sheet", findings: "Findings", reading: "Reading", wording: "Wording") -> None:
    """An answer in words."""
    from wardexam.note.note import urgency_lines
    from wardexam.note.suggestion import reading_lines

    urgency = _urgency(findings, reading, wording)
    head = [f"== {edge.on_one_line(sheet.id)}"] if sheet.id else []
    lines = [*head, *urgency_lines(urgency), *reading_lines(reading), ""]
    edge.put("\n".join(lines) + "\n")


def _json(sheet: "Sheet", findings: "Findings", reading: "Reading", wording: "Wording") -> None:
    """An answer as a line of JSON."""
    import json

    answer = reading.to_dict(sheet.id, _urgency(findings, reading, wording))
    edge.put(json.dumps(answer, ensure_ascii=True) + "\n")


def _csv() -> "Write":
    """A writer of answers as CSV: a line for each ranked site, with the sheet's urgency, under a heading."""
    import csv

    from wardexam.records.archive import cell

    out = csv.writer(edge.Door(), lineterminator="\n")
    headed = False

    def write(sheet: "Sheet", findings: "Findings", reading: "Reading", wording: "Wording") -> None:
        nonlocal headed
        urgency = _urgency(findings, reading, wording)
        off = " ".join(rule.rule for rule in urgency.switched_off)
        more = {"urgency": urgency.level, "switched_off": off}
        rows = [row | more for row in reading.rows(sheet.id)]
        if not headed:
            out.writerow(rows[0])
            headed = True
        out.writerows([cell(v) if isinstance(v, str) else v for v in row.values()] for row in rows)

    return write


def schema(options: argparse.Namespace) -> int:
    """Print the JSON Schema of what a command reads or answers, or our codes."""
    import json

    if options.of:
        from wardexam.commands import answers

        edge.put(json.dumps(answers.schema(options.of), indent=2) + "\n")
        return 0
    if options.injury:
        from wardexam.injury.sheet import injury_schema as made
    elif options.outcome:
        from wardexam.review.outcome_file import row_schema as made
    elif options.research:
        from wardexam.governance.research import research_schema as made
    elif options.incident:
        from wardexam.governance.incident import incident_schema as made
    elif options.hazards:
        from wardexam.governance.paper import log_schema as made
    elif options.answer:
        from wardexam.face import answer_schema as made
    elif options.fhir_codes:
        from wardexam.fhir.own_codes import code_system as made
    else:
        from wardexam.exam.sheet import sheet_schema as made
    edge.put(json.dumps(made(), indent=2) + "\n")
    return 0
