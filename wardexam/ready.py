"""The reasoning engine, ready for use: its rows made from the tables once, then kept between starts."""

from functools import cache
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable

    from wardexam.reasoning.engine import Engine
    from wardexam.reasoning.model.forms import Form
    from wardexam.reasoning.model.hypotheses import Hypotheses


@cache
def engine() -> "Engine":
    """The engine, one for a process.

    The rows are kept under a name that stands for every table and module they depend on, with a
    checksum: a copy that is old, cut short or changed is made anew, and so is anything else that
    lies in its place. They are mapped, not read: processes share them.
    """
    from wardexam.reasoning.engine import Engine
    from wardexam.reasoning.model.hypotheses import fingerprint, make, packed
    from wardexam.records import cache as store

    name = f"rows-{fingerprint()}"
    made = _from(store.kept(name))
    if made is None:
        rows = make()
        store.keep(name, packed(rows))
        made = _from(store.kept(name)) or Engine(rows)  # the kept copy is shared, our own is not
    return made


def _from(data: memoryview | None) -> "Engine | None":
    """An engine from kept bytes; None where they are not rows as this program writes them."""
    from wardexam.exam.examination import Context
    from wardexam.reasoning.engine import Engine
    from wardexam.reasoning.model.hypotheses import unpacked

    try:
        rows = None if data is None else unpacked(data)
        if rows is None or not _whole(rows):
            return None
        made = Engine(rows)
        made.sums.prior(Context())  # every form's site is one that the tables know
    except Exception:  # whatever they hold, they can be made again
        return None
    return made


def _whole(rows: "Hypotheses") -> bool:
    """Whether forms and codes are of the right kind, and each draw and row belongs to one form."""
    from wardexam.reasoning.model.codes import CODES

    return (
        rows.rows > 0
        and _follow(form.rows for form in rows.forms)
        and _follow(form.draws for form in rows.forms)
        and all(map(_sound, rows.forms))
        and bool((rows.form_of[rows.row_of] == rows.form_of_draw).all())
        and int(rows.codes.max()) < CODES
    )


def _follow(parts: "Iterable[slice]") -> bool:
    """Whether each begins where the one before ends, the first at the beginning."""
    ends = [(part.start, part.stop) for part in parts]
    return [start for start, _ in ends] == [0, *(stop for _, stop in ends)][:-1]


def _sound(form: "Form") -> bool:
    """Whether a form's fields are of their types and within bounds."""
    from wardexam.anatomy.catalogue import SEGMENTS
    from wardexam.anatomy.structures import STORY
    from wardexam.reasoning.model.hypotheses import SIDES

    columns = list(form.story.items())
    numbers = (form.weight, *(n for _, column in columns for n in column.values()))
    return (
        all(isinstance(text, str) for text in (form.site, form.group, form.name, *form.story))
        and all(c in STORY and all(isinstance(v, str) for v in column) for c, column in columns)
        and form.side in SIDES
        and (form.level is None or (type(form.level) is int and 0 <= form.level < len(SEGMENTS)))
        and all(type(n) in (int, float) and 0 <= n < 1e9 for n in numbers)
        and type(form.upper) is bool
        and type(form.alarm) is bool
        and form.rows.start < form.rows.stop
        and form.draws.start < form.draws.stop
    )
