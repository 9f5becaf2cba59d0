"""Several threads at the same moment."""

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor


def at_once(works: Sequence[Callable[[], object]]) -> None:
    """Run each in a thread of its own, to the end of all; what one of them raises is raised here."""
    with ThreadPoolExecutor(len(works)) as pool:
        for begun in [pool.submit(work) for work in works]:
            begun.result()
