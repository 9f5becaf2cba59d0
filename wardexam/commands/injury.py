"""`wardexam injury`: the classification of a spinal cord injury, from a sheet of scores or of a patient."""

import argparse
import json
import os
from typing import TYPE_CHECKING

from wardexam.commands import edge
from wardexam.errors import InputError

if TYPE_CHECKING:
    from wardexam.injury.sheet import InjurySheet

HINT = "Type a sheet, such as 'right light touch: 2 to T9, 1 to T12, 0'; end with Ctrl-D."
SIGNS = "Type findings, a line each; end with Ctrl-D."


def injury(options: argparse.Namespace) -> int:
    """Print the classification as a worksheet or as JSON, or go from or to ordinary signs."""
    if _names_a_patient(options.sheet):
        return _of_patient(options)
    from wardexam.commands.sheets import whole

    text, name = whole(options.sheet, SIGNS if options.from_signs else HINT)
    try:
        edge.put(_begun(text) if options.from_signs else _answer(text, options))
    except InputError as error:
        where = f"{name}, {error.where}" if error.where else name
        raise InputError(error.what, where, error.remedy) from None
    return 0


def _names_a_patient(given: str | None) -> bool:
    """Whether what was given is no file, nor written as one is."""
    written = given is not None and given != "-" and os.sep not in given and "." not in given
    return written and not os.path.exists(str(given))


def _of_patient(options: argparse.Namespace) -> int:
    """Print what the sheet saved last of a patient gives; what leaves the ward is in the trail first."""
    from wardexam.commands.whose import identifier
    from wardexam.injury.computed import compute
    from wardexam.injury_visit import SavedSheets

    if options.from_signs:
        raise InputError("no such file", options.sheet, "name a file with an examination, or -")
    session = edge.session(options)
    whose = identifier(session.ward, options.sheet)
    try:
        sheets = SavedSheets(session, whose)
    except InputError:
        raise InputError(
            "there is neither a file nor a patient of this name", options.sheet, "'wardexam beds' lists the patients"
        ) from None  # fmt: skip
    kept = sheets.last
    if kept is None:
        raise InputError("no cord injury sheet is saved", whose, "score one first")
    session.ward.record("exported", whose, session.examiner)
    if options.json:
        named = kept.sheet.model_copy(update={"id": kept.patient})  # opaque, as in other answers
        edge.put(json.dumps(compute(named).to_dict()) + "\n")
    else:
        edge.put(_signs(kept.sheet) if options.to_signs else sheets.paper(kept))
    return 0


def _answer(text: str, options: argparse.Namespace) -> str:
    """The classification of a sheet, or its scores as signs."""
    from wardexam.injury.computed import compute
    from wardexam.injury.typed import read_injury
    from wardexam.injury.worksheet import worksheet

    sheet = read_injury(text)
    if options.to_signs:
        return _signs(sheet)
    computed = compute(sheet)
    return json.dumps(computed.to_dict()) + "\n" if options.json else worksheet(computed)


def _signs(sheet: "InjurySheet") -> str:
    """The scores as findings that `localise` reads; what is left out is said on stderr."""
    from wardexam.injury.signs import as_signs

    given = as_signs(sheet)
    for remark in given.remarks:
        edge.remark(remark)
    rows = [f.model_dump(include={"sign", "side", "answer"}) for f in given.findings]
    return json.dumps({"findings": rows}) + "\n"


def _begun(text: str) -> str:
    """A sheet begun from an ordinary examination; remarks and what is missing as lines it does not read."""
    from wardexam.exam.reading import read
    from wardexam.exam.typed import without_doubt
    from wardexam.injury.taking_over import take_over
    from wardexam.injury.typed import write_typed

    taken = take_over(read(text))
    if not text.lstrip().startswith("{"):
        without_doubt(text)
    lines = [f"# {remark}" for remark in taken.remarks]
    lines += [f"# missing: {words}" for words in taken.missing]
    return write_typed(taken.sheet) + "".join(f"{line}\n" for line in lines)
