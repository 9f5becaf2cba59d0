"""`wardexam injury`: the classification of a spinal cord injury from a sheet of scores."""

import argparse
import json

from wardexam.commands import edge
from wardexam.errors import InputError

HINT = "Type a sheet, such as 'right light touch: 2 to T9, 1 to T12, 0'; end with Ctrl-D."
SIGNS = "Type findings, a line each; end with Ctrl-D."


def injury(options: argparse.Namespace) -> int:
    """Print the classification as a worksheet or as JSON, or begin a sheet from ordinary signs."""
    from wardexam.commands.sheets import whole

    text, name = whole(options.file, SIGNS if options.from_signs else HINT)
    try:
        edge.put(_begun(text) if options.from_signs else _answer(text, options.json))
    except InputError as error:
        where = f"{name}, {error.where}" if error.where else name
        raise InputError(error.what, where, error.remedy) from None
    return 0


def _answer(text: str, as_json: bool) -> str:
    """The classification of a sheet."""
    from wardexam.injury.computed import compute
    from wardexam.injury.typed import read_injury
    from wardexam.injury.worksheet import worksheet

    computed = compute(read_injury(text))
    return json.dumps(computed.to_dict()) + "\n" if as_json else worksheet(computed)


def _begun(text: str) -> str:
    """A sheet begun from an ordinary examination; remarks and what is missing as lines it does not read."""
    from wardexam.exam.reading import read
    from wardexam.injury.taking_over import take_over
    from wardexam.injury.typed import write_typed

    taken = take_over(read(text))
    lines = [f"# {remark}" for remark in taken.remarks]
    lines += [f"# missing: {words}" for words in taken.missing]
    return write_typed(taken.sheet) + "".join(f"{line}\n" for line in lines)
