"""Many sheets: read one after the other, and once there are many on every core, the answers in their order.

Each further core has a process of its own, started as `python -m wardexam.many` (so that a script needs no
guard) and spoken to over its pipes; all of them map the same kept rows. What a process that ended was reading
is read here instead.
"""

import contextlib
import gc
import os
import pickle
import queue
import subprocess
import sys
import threading
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Mapping
from concurrent.futures import Future, ThreadPoolExecutor
from functools import partial
from itertools import islice
from typing import IO, Any, Generic, TypeVar

from wardexam.cores import cores
from wardexam.errors import WardexamError
from wardexam.exam.examination import Findings
from wardexam.exam.reading import read
from wardexam.reasoning.reading import Reading

FEW = 12  # sheets for which no other process is started
ALONE = 30  # sheets read here while the others start
BATCH = 8  # sheets handed over at a time
AHEAD = 2  # batches under way for each process
GARBAGE = 50_000  # objects that a process of its own makes before it looks for garbage

Asked = Findings | str | Mapping[str, Any] | WardexamError
Answer = Reading | WardexamError
# Gives up to so many sheets; none where there are none now and it shall not wait; None at the end.
Take = Callable[[int, bool], list[Asked] | None]

_reading = threading.Lock()  # the engine keeps sums, and is for one thread at a time


def answer(asked: Asked) -> Answer:
    """The reading of one sheet, or why there is none; never an exception that would lose the others."""
    from wardexam.ready import engine

    try:
        if isinstance(asked, WardexamError):
            return asked
        found = asked if isinstance(asked, Findings) else read(asked)
        with _reading:
            return engine().read(found)
    except WardexamError as error:
        return error
    except Exception as error:
        return WardexamError(f"a fault of the program ({type(error).__name__})")


def readings(take: Take, processes: int | None = None) -> Iterator[Answer]:
    """The answers to what `take` gives, in order, on so many processes (one for each core), this one among them."""
    count = processes or cores()
    if count == 1 or not sys.executable:
        yield from _alone(take, None)
        return
    yield from _alone(take, FEW)
    _keep_more()
    with _Helpers(count - 1) as helpers:
        yield from _alone(take, ALONE)  # while the others start
        under_way: deque[Callable[[], list[Answer]]] = deque()
        turn, ended = 0, False
        while True:
            while not ended and len(under_way) < AHEAD * count:
                asked = take(BATCH, not under_way)
                ended = asked is None
                if not asked:
                    break
                # Each in its turn; this process reads its own batch when that is the next to be answered.
                own = partial(_answers, asked)
                under_way.append(helpers.ask(asked).result if turn % count else own)
                turn += 1
            if not under_way:
                return
            yield from under_way.popleft()()


def _alone(take: Take, most: int | None) -> Iterator[Answer]:
    """The answers to so many sheets, or to all, read here one by one."""
    read_here = 0
    while most is None or read_here < most:
        asked = take(1, True)
        if asked is None:
            return
        yield from map(answer, asked)
        read_here += not isinstance(asked[0], WardexamError)


def _answers(asked: list[Asked]) -> list[Answer]:
    return [answer(each) for each in asked]


def of(sheets: "Iterable[Findings | str | Mapping[str, Any]]") -> Take:
    """What takes from an iterable, in the thread that asks for the answers."""
    source = iter(sheets)
    return lambda most, _: list(islice(source, most)) or None


T = TypeVar("T")


class Drawn(Generic[T]):
    """An iterable drawn from in a thread, so that what is there can be told from what may come.

    A source that waits for an answer before it goes on is never waited for.
    """

    END = object()

    def __init__(self, source: Iterable[T]) -> None:
        self._held: queue.Queue[Any] = queue.Queue(2 * BATCH * AHEAD)
        self._over = False
        threading.Thread(target=self._draw, args=(source,), daemon=True).start()

    def _draw(self, source: Iterable[T]) -> None:
        last: object = self.END
        try:
            for item in source:
                self._held.put(item)
        except BaseException as error:
            last = _Fault(error)
        self._held.put(last)

    def take(self, most: int, wait: bool) -> list[T] | None:
        """Up to so many that are there; waits for the first where told to; None at the end.

        Raises:
            Exception: What the source raised, once all before it are taken.
        """
        found: list[T] = []
        while not self._over and len(found) < most:
            try:
                item = self._held.get(block=wait and not found)
            except queue.Empty:
                return found
            if item is self.END or isinstance(item, _Fault):
                self._over = True
                if isinstance(item, _Fault):
                    if found:
                        self._over = False
                        self._held.put(item)  # its turn is next: nobody else puts any more
                        return found
                    raise item.error
            else:
                found.append(item)
        return found or (None if self._over else found)


class _Fault:
    """What a source raised."""

    def __init__(self, error: BaseException) -> None:
        self.error = error


class _Helpers:
    """Processes that read, each spoken to by a thread of its own."""

    def __init__(self, count: int) -> None:
        self._free: queue.SimpleQueue[subprocess.Popen[bytes]] = queue.SimpleQueue()
        self._all = [_start() for _ in range(count)]
        for helper in self._all:
            self._free.put(helper)
        self._threads = ThreadPoolExecutor(count, "wardexam-many")

    def __enter__(self) -> "_Helpers":
        return self

    def __exit__(self, *_: object) -> None:
        """End them, also where the answers are no longer wanted."""
        self._threads.shutdown(wait=False, cancel_futures=True)
        for helper in self._all:
            helper.kill()
        self._threads.shutdown(wait=True)
        for helper in self._all:
            for pipe in (helper.stdin, helper.stdout):
                with contextlib.suppress(OSError):
                    assert pipe is not None
                    pipe.close()
            helper.wait()

    def ask(self, asked: list[Asked]) -> "Future[list[Answer]]":
        """Hand a batch over; its answers come in order."""
        return self._threads.submit(self._ask, asked)

    def _ask(self, asked: list[Asked]) -> list[Answer]:
        helper = self._free.get()
        try:
            assert helper.stdin
            assert helper.stdout
            _put(helper.stdin, asked)
            found: list[Answer] = pickle.load(helper.stdout)
        except (OSError, EOFError, ValueError, TypeError, AttributeError, pickle.PickleError):
            return _answers(asked)  # it ended, or cannot be sent what is asked
        finally:
            self._free.put(helper)
        return found


def _start() -> "subprocess.Popen[bytes]":
    paths = os.pathsep.join(p or os.getcwd() for p in sys.path)
    return subprocess.Popen(
        [sys.executable, "-m", "wardexam.many"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        start_new_session=True,  # Ctrl-C is for us, who end them
        env={**os.environ, "PYTHONPATH": paths, "OPENBLAS_NUM_THREADS": "1"},
    )


def _put(pipe: IO[bytes], what: object) -> None:
    pipe.write(pickle.dumps(what, pickle.HIGHEST_PROTOCOL))
    pipe.flush()


def _keep_more() -> None:
    from wardexam.ready import engine
    from wardexam.reasoning.inference.posterior import KEPT_OF_MANY

    engine().sums.kept = KEPT_OF_MANY


def _help() -> None:
    """Answer batches from standard input until it ends."""
    answer(Findings())  # loads the engine, while the first sheets are read elsewhere
    _keep_more()
    gc.freeze()
    gc.set_threshold(GARBAGE)
    while True:
        try:
            asked = pickle.load(sys.stdin.buffer)
        except EOFError:
            return
        _put(sys.stdout.buffer, _answers(asked))


if __name__ == "__main__":
    _help()
