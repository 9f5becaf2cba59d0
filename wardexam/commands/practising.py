"""`wardexam practise`: invented and published patients to practise on; no ward is opened."""

import argparse
import io
import sys
from collections.abc import Iterator
from typing import TYPE_CHECKING

from wardexam.commands import edge
from wardexam.errors import InputError

if TYPE_CHECKING:
    from wardexam.practice.case import Case

HIGHEST = 999_999  # of a seed that nobody gave: short enough to be typed again


def practise(options: argparse.Namespace) -> int:
    """Practise on plain lines, or say or export what was kept of it."""
    _together(options)
    if options.export is not None:
        return _export(options)
    if options.progress:
        return _progress()
    from wardexam.plain.practising import practise as converse
    from wardexam.ready import engine
    from wardexam.records import practice_file

    if sys.stdin is None:
        raise InputError("is closed", where="standard input")
    if isinstance(sys.stdin, io.TextIOWrapper):
        sys.stdin.reconfigure(errors="replace")
    return converse(
        engine(),
        _cases(options),
        keep=practice_file.keep,
        kept=practice_file.rows,
        now=edge.now,
        read=sys.stdin,
        write=edge.Door(),
        width=edge.width,
    )


def _together(options: argparse.Namespace) -> None:
    """Refuse options that mean nothing together."""
    given = options.level is not None or options.seed is not None
    if given and (options.published is not None or options.progress or options.export is not None):
        raise InputError("--level and --seed draw a patient", "practise", "leave them out here")
    if options.json and options.export is None:
        raise InputError("--json does nothing here", "practise", "use it with --export")


def _cases(options: argparse.Namespace) -> "Iterator[Case]":
    """The cases in their order: published ones, else drawn ones from the seed on."""
    if options.published is not None:
        return _published(options.published)
    from wardexam.practice.drawing import Drawing
    from wardexam.ready import engine

    drawing = Drawing(engine().hypotheses)
    seed = _any_seed() if options.seed is None else options.seed
    level = 1 if options.level is None else options.level
    first = drawing.draw(
        level, seed
    )  # a level or seed that there is none of is refused before anything is said

    def drawn() -> "Iterator[Case]":
        yield first
        for more in range(seed + 1, 1_000_000_000):
            yield drawing.draw(level, more)

    return drawn()


def _published(name: str) -> "Iterator[Case]":
    """The published cases, from the one named on."""
    from wardexam.practice.published import published

    cases = published()
    names = list(cases)
    if name and name not in cases:
        raise InputError(
            f"there is no published case '{name}'", "--published", f"they are {', '.join(names)}"
        )
    return iter([cases[n] for n in names[names.index(name) if name else 0 :]])


def _any_seed() -> int:
    """A seed that nobody chose."""
    import secrets

    return secrets.randbelow(HIGHEST) + 1


def _progress() -> int:
    """Say how practice went so far."""
    from wardexam.exam.text import folded
    from wardexam.practice.progress import results
    from wardexam.practice.words import progress
    from wardexam.records import practice_file

    lines = progress(*results(practice_file.rows()))
    edge.put("".join(f"{folded(line, edge.width())}\n" for line in lines))
    return 0


def _export(options: argparse.Namespace) -> int:
    """Write what was kept as CSV or JSON, to a new file or to standard output."""
    from wardexam.practice.progress import as_csv, as_json, results
    from wardexam.records import practice_file

    found, left = results(practice_file.rows())
    wanted = options.json or options.export.lower().endswith(".json")
    text = as_json(found) if wanted else as_csv(found)
    if options.export == "-":
        edge.put(text)
    else:
        from wardexam.records.private_file import write_private

        write_private(options.export, [text])
    if left:
        edge.complain(f"left out, since this program cannot read them: {left}")
    return 0
