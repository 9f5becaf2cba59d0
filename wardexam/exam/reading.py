"""What a script gives as findings, read: typed words, a JSON document or the same as a dict."""

import json
from collections.abc import Mapping
from typing import Any

from wardexam.errors import InputError
from wardexam.exam.examination import Findings
from wardexam.exam.sheet import read_sheet
from wardexam.exam.typed import read_line


def read(found: "str | Mapping[str, Any]") -> Findings:
    """The findings of one examination from text or a dict.

    Args:
        found: Typed words such as ``"knee 2/0 plantar down/up age=63"``, where a slash parts the
            patient's right from left, over one line or several; or a sheet as `wardexam schema`
            describes it, as JSON text or as a dict.

    Returns:
        The findings; what was not said stays unknown.

    Raises:
        InputError: It is empty, or something in it cannot be accepted: names it and what is allowed.
    """
    if isinstance(found, str):
        if not found.strip():
            raise InputError("nothing was given", remedy="type findings such as 'knee 2/0'")
        if found.lstrip().startswith("{"):
            return read_sheet(found).spelled_out()
        return read_line(" ".join(found.split())).spelled_out()
    if not isinstance(found, Mapping):
        raise InputError(f"text or a dict is needed, not {type(found).__name__}")
    try:
        text = json.dumps(dict(found), allow_nan=False)
    except (TypeError, ValueError, RecursionError) as error:
        raise InputError(f"not JSON: {error}") from None
    return read_sheet(text).spelled_out()
