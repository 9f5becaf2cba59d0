"""Every stay of a ward, counted: on every core where there are many."""

import multiprocessing
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from typing import TypeVar

from wardexam.cores import cores
from wardexam.errors import WardexamError
from wardexam.records.light_file import LightFile, Stay
from wardexam.review.counting import Counted, Period, count
from wardexam.review.pairing import Pairs, pairs_of
from wardexam.review.standards import standards
from wardexam.review.stay import stay_of

FEW = 400  # stays for which no other process is started
BATCH = 50  # stays handed over at a time

Unread = tuple[str, str]
Made = TypeVar("Made")


def _of_each(
    stays: Sequence[Stay],
    of: Callable[[LightFile], Made],
    progress: Callable[[int], None] = lambda _: None,
) -> tuple[list[Made], list[Unread]]:
    """What each stay is read as, and whose record could not be read and why."""
    made, unread = [], []
    for number, stay in enumerate(stays, 1):
        try:
            made.append(of(stay.read()))
        except WardexamError as error:
            unread.append((stay.name, error.what))
        except (KeyError, TypeError, ValueError, AttributeError):
            unread.append((stay.name, "a record is not as this program writes it"))
        if not number % BATCH:
            progress(number)
    return made, unread


def count_stays(stays: Sequence[Stay], period: Period) -> tuple[list[Counted], list[Unread]]:
    """What these stays add, and whose record could not be read and why."""
    read, unread = _of_each(stays, stay_of)
    counted = (count(stay, period, standards()) for stay in read)
    return [c for c in counted if c is not None], unread


def paired_stays(
    stays: Sequence[Stay],
    period: Period,
    hours: float,
    progress: Callable[[int], None] = lambda _: None,
) -> tuple[list[Pairs], list[Unread]]:
    """The pairs of two doctors' examinations in these stays, and whose record could not be read and why."""
    return _of_each(stays, lambda file: pairs_of(file, period, hours), progress)


def counted_stays(
    stays: Sequence[Stay],
    period: Period,
    progress: Callable[[int], None] = lambda _: None,
    processes: int | None = None,
    few: int = FEW,
) -> tuple[list[Counted], list[Unread]]:
    """What all the stays of a ward add to a review.

    Args:
        stays: Every patient's.
        period: Of when.
        progress: Told how many stays are read.
        processes: On how many processes; one for each core when None.
        few: For how many stays no other process is started.
    """
    batches = [stays[n : n + BATCH] for n in range(0, len(stays), BATCH)]
    made: list[Counted] = []
    unread: list[Unread] = []
    read = 0
    for batch, (found, faults) in zip(
        batches,
        _answers(batches, period, 1 if len(stays) <= few else processes or cores()),
        strict=True,
    ):
        made += found
        unread += faults
        read += len(batch)
        progress(read)
    return made, unread


def _answers(
    batches: list[Sequence[Stay]], period: Period, processes: int
) -> Iterator[tuple[list[Counted], list[Unread]]]:
    if processes == 1:
        for batch in batches:
            yield count_stays(batch, period)
        return
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(processes, mp_context=context) as pool:
        yield from pool.map(count_stays, batches, [period] * len(batches))
