"""The review as CSV: a row for each figure, or a row for each patient and group."""

import csv
import io
from collections.abc import Iterator, Sequence

from wardexam.records.archive import cell
from wardexam.review.figures import Review, group_name
from wardexam.review.standards import Standards

HEAD = (
    "section", "group", "figure", "count", "of", "share", "low", "high", "lower_quartile", "median",
    "upper_quartile", "unit", "left_out", "why_left_out", "few", "patients_not_so",
)  # fmt: skip


def line(cells: Sequence[str]) -> str:
    """A row of cells as CSV, cleaned; none can be read as a formula."""
    text = io.StringIO()
    csv.writer(text, lineterminator="\n").writerow(map(cell, cells))
    return text.getvalue()


def number(value: float | None) -> str:
    """A number in four figures; empty where there is none."""
    return "" if value is None else f"{value:.4g}" if isinstance(value, float) else str(value)


def table(review: Review) -> Iterator[str]:
    """A heading and a row for each figure; shares from 0 to 1, patients by opaque name."""
    begin, end = review.period.begin.isoformat(), review.period.end.isoformat()
    yield line(HEAD)
    yield line(("period", begin, end, "", "", *[""] * (len(HEAD) - 5)))
    for f in review.figures:
        share = f.count / f.of if f.count is not None and f.low is not None and f.of else None
        lower, middle, upper = f.spans or (None, None, None)
        yield line((
            f.section, f.group, f.name, number(f.count), str(f.of), number(share), number(f.low), number(f.high),
            number(lower), number(middle), number(upper), f.unit if f.spans else "", str(f.left_out), f.why,
            "yes" if f.few else "", " ".join(f.patients),
        ))  # fmt: skip
    for name, why in review.unread:
        yield line(("unread", name, why, "", "", *[""] * (len(HEAD) - 5)))


PATIENT_HEAD = (
    "patient", "group", "call_minutes", "call_limit", "image_minutes", "image_limit", "result_minutes",
    "result_limit", "items_first", "items_by_end", "items",
)  # fmt: skip


def patients_table(review: Review, standards: Standards) -> Iterator[str]:
    """A heading and a row for each patient of a group, by opaque name: times in minutes, items done."""
    yield line(PATIENT_HEAD)
    for row in review.rows:
        for group, suspected in row.groups.items():
            times = [t for end in ("call", "image", "result") for t in (suspected.times[end],)]
            yield line((
                row.patient, group_name(group, standards),
                *(number(value) for t in times for value in (t.minutes, t.limit)),
                str(sum(suspected.first)), str(sum(suspected.by_end)), str(len(suspected.first)),
            ))  # fmt: skip
