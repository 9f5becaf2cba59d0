"""The command that marks an examination as entered in error, or takes that back; without words it lists what is saved."""

import argparse
from typing import TYPE_CHECKING

from wardexam.commands import edge
from wardexam.commands.whose import also_discharged
from wardexam.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Iterator

    from wardexam.exam.examination import Examination
    from wardexam.governance.retention import Identity
    from wardexam.saved import Saved


def mark(options: argparse.Namespace) -> int:
    """List a patient's examinations, or mark one where who it is and why are told."""
    from wardexam.exam.in_error import marking
    from wardexam.governance.retention import identity_of, is_meant
    from wardexam.saved import Saved, mark_in_error, mark_valid

    session = edge.session(options, edge.spoken(options))
    whose = also_discharged(session.ward, options.patient)
    saved, shown = Saved(session, whose), identity_of(session.ward, whose)
    if options.identity is None:
        session.ward.record("viewed", whose, session.examiner)
        edge.put("".join(f"{edge.on_one_line(line)}\n" for line in _listed(saved, shown, options)))
        return 0
    if not is_meant(shown, options.identity):
        raise InputError(
            f"{shown.kind} of this patient is another", options.identity[:60], "nothing was changed"
        )
    if not options.examination:
        raise InputError("say which examination", whose, f"'wardexam mark {whose}' lists them")
    chosen = saved.named(options.examination).examination
    _, about, said = marking(saved.patient, chosen)
    if chosen.in_error != options.take_back:
        known = "is marked as entered in error already" if chosen.in_error else "is not marked as entered in error"  # fmt: skip
        raise InputError(known, chosen.id, "nothing was changed")
    write = mark_valid if options.take_back else mark_in_error
    write(session, chosen, edge.kept_words(options.why or ""))
    edge.put("".join(f"{edge.on_one_line(line)}\n" for line in (*about, said)))
    return 0


def _which(saved: "Saved", options: argparse.Namespace) -> str:
    """The examination that the listed command names: the one given, else the last that it could mark; ``ID`` where there is none."""
    if options.examination:
        return str(options.examination)
    last: Examination | None = saved.last
    if options.take_back:
        last = next((e for e in reversed(saved.file.with_errors) if e.in_error), None)
    return last.id if last else "ID"


def _listed(saved: "Saved", shown: "Identity", options: argparse.Namespace) -> "Iterator[str]":
    """Whose they are, each examination with its identifier, and what would mark one."""
    from wardexam.exam.in_error import error_line

    yield shown.words
    for e in saved.file.with_errors:
        error = saved.file.in_error(e.id)
        said = f"; {error_line(error)}" if error else ""
        yield f"{e.id}  {e.at.day} {e.at:%b %Y %H:%M} {e.by_whom}{said}"
    if not saved.file.with_errors:
        yield "No examination is saved yet."
        return
    back = " --take-back" if options.take_back else ""
    yield f"Nothing is marked yet. This would{' take a mark back' if back else ' mark one as entered in error'}:"
    yield f'  wardexam mark {saved.patient.id} {_which(saved, options)}{back} --identity "{shown.wanted}" --why "WORDS"'
