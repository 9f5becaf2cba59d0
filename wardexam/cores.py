"""How many cores there are to work on, and that linear algebra takes one of them."""

import os
from collections.abc import MutableMapping

# With two threads a reading of 0.2 ms takes 8 ms.
_THREADS = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS")


def cores() -> int:
    """The cores that this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def one_thread(environ: MutableMapping[str, str]) -> None:
    """Have linear algebra use one thread, unless the user said otherwise; before numpy is first imported."""
    for name in _THREADS:
        environ.setdefault(name, "1")
