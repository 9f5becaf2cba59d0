"""What goes in the chart: the note, the referral, the handover. Examination in, text out."""

import sys
from importlib import import_module
from types import ModuleType
from typing import Any


class _Note(ModuleType):
    """This folder, which answers to the public name `wardexam.note`: called, it is that function."""

    def __call__(self, *given: Any, **named: Any) -> str:
        """The examination as a plain-text note (`wardexam.face.note`)."""
        made: str = import_module("wardexam.face").note(*given, **named)
        return made


sys.modules[__name__].__class__ = _Note
