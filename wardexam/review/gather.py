"""Every stay of a ward's folder, counted: on every core where there are many files."""

import multiprocessing
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import TypeVar

from wardexam.cores import cores
from wardexam.errors import WardexamError
from wardexam.records.light_reading import LightFile, read_light
from wardexam.review.counting import Counted, Period, count
from wardexam.review.pairing import Pairs, pairs_of
from wardexam.review.standards import standards
from wardexam.review.stay import stay_of

FEW = 400  # files for which no other process is started
BATCH = 50  # files handed over at a time

Unread = tuple[str, str]
Made = TypeVar("Made")


def _of_each(
    paths: list[Path],
    of: Callable[[LightFile], Made | None],
    progress: Callable[[int], None] = lambda _: None,
) -> tuple[list[Made], list[Unread]]:
    """What is made of each file, where anything is, and whose record could not be read and why."""
    made, unread = [], []
    for number, path in enumerate(paths, 1):
        try:
            found = of(read_light(path))
        except WardexamError as error:
            unread.append((path.stem, error.what))
        except (KeyError, TypeError, ValueError, AttributeError):
            unread.append((path.stem, "a record is not as this program writes it"))
        else:
            if found is not None:
                made.append(found)
        if not number % BATCH:
            progress(number)
    return made, unread


def count_files(paths: list[Path], period: Period) -> tuple[list[Counted], list[Unread]]:
    """What the stays in these files add, and whose record could not be read and why."""
    return _of_each(paths, lambda file: count(stay_of(file), period, standards()))


def paired_stays(
    paths: list[Path],
    period: Period,
    hours: float,
    progress: Callable[[int], None] = lambda _: None,
) -> tuple[list[Pairs], list[Unread]]:
    """The pairs of two doctors' examinations in these files, and whose record could not be read and why."""
    return _of_each(paths, lambda file: pairs_of(file, period, hours), progress)


def counted_stays(
    paths: list[Path],
    period: Period,
    progress: Callable[[int], None] = lambda _: None,
    processes: int | None = None,
    few: int = FEW,
) -> tuple[list[Counted], list[Unread]]:
    """What all the stays of a ward add to a review.

    Args:
        paths: The patients' files.
        period: Of when.
        progress: Told how many files are read.
        processes: On how many processes; one for each core when None.
        few: For how many files no other process is started.
    """
    batches = [paths[n : n + BATCH] for n in range(0, len(paths), BATCH)]
    made: list[Counted] = []
    unread: list[Unread] = []
    read = 0
    for batch, (found, faults) in zip(
        batches,
        _answers(batches, period, 1 if len(paths) <= few else processes or cores()),
        strict=True,
    ):
        made += found
        unread += faults
        read += len(batch)
        progress(read)
    return made, unread


def _answers(
    batches: list[list[Path]], period: Period, processes: int
) -> Iterator[tuple[list[Counted], list[Unread]]]:
    if processes == 1:
        for batch in batches:
            yield count_files(batch, period)
        return
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(processes, mp_context=context) as pool:
        yield from pool.map(count_files, batches, [period] * len(batches))
