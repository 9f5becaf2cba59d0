"""Every error a doctor or a script may meet, in one family.

    WardexamError
    ├── TableError      a table of ours (anatomy, lesions, rules, settings) is malformed
    ├── InputError      findings, a typed line or an option that cannot be accepted
    └── RecordsError    the store could not be read or written (see wardexam.records)

A message says what is wrong, where, and what to do. It is printed as one line; no
traceback reaches the reader.
"""


class WardexamError(Exception):
    """What is wrong, where it is, and what to do about it.

    Attributes:
        what: The fault in plain words.
        where: The file, row, field or path; empty where there is none.
        remedy: What the reader can do; empty where nothing can be done.

    """

    exit_code = 1

    def __init__(self, what: str, where: str = "", remedy: str = "") -> None:
        self.what, self.where, self.remedy = what, where, remedy
        super().__init__(what, where, remedy)

    @property
    def line(self) -> str:
        """What is wrong and what to do first, where it is last: for a narrow line that cuts."""
        advice = f" ({self.remedy})" if self.remedy else ""
        place = f": {self.where}" if self.where else ""
        return f"{self.what}{advice}{place}"

    def __str__(self) -> str:
        """One line; what it quotes is not cleaned here, but where it is shown."""
        place = f"{self.where}: " if self.where else ""
        advice = f" ({self.remedy})" if self.remedy else ""
        return f"{place}{self.what}{advice}"


class TableError(WardexamError):
    """A table is malformed: the message names file, row and field."""


class InputError(WardexamError):
    """What was entered cannot be accepted: the message names field, value and what is allowed."""

    exit_code = 2


class RecordsError(WardexamError):
    """The store could not be read or written; nothing stored was changed."""

    exit_code = 3
