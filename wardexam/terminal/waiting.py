"""What must wait for another session waits here, off the UI thread, while the doctor goes on."""

import threading
import time
from collections.abc import Callable
from typing import TYPE_CHECKING, TypeVar

from wardexam.errors import WardexamError
from wardexam.records.locks import BusyError

if TYPE_CHECKING:
    from textual.app import App

T = TypeVar("T")
EVERY = 0.25  # seconds between two attempts


class Waiting:
    """Actions tried at once, and then again until the session that is in the way lets go.

    Args:
        app: Where the answer is given, on its own thread.
    """

    def __init__(self, app: "App[None]") -> None:
        self._app = app

    def attempt(
        self,
        action: Callable[[], T],
        done: Callable[[T], object],
        failed: Callable[[WardexamError], object],
        held_up: Callable[[BusyError], object],
        wanted: Callable[[], bool] = lambda: True,
    ) -> None:
        """Do an action now, or as soon as it can be done.

        Args:
            action: What is done; raises `BusyError`, having changed nothing, where it must wait.
            done: Called with what it gave.
            failed: Called with why it cannot be done at all.
            held_up: Called once where it must wait.
            wanted: Whether it is wanted still; looked at before each further attempt.
        """
        try:
            result = action()
        except BusyError as error:
            held_up(error)
            threading.Thread(
                target=self._again, args=(action, done, failed, wanted), daemon=True, name="wardexam-wait"
            ).start()  # fmt: skip
        except WardexamError as error:
            failed(error)
        else:
            done(result)

    def _again(
        self,
        action: Callable[[], T],
        done: Callable[[T], object],
        failed: Callable[[WardexamError], object],
        wanted: Callable[[], bool],
    ) -> None:
        while wanted() and self._app.is_running:
            time.sleep(EVERY)
            if not wanted():
                return
            try:
                result = action()
            except BusyError:
                continue
            except WardexamError as error:
                self._app.call_later(failed, error)
                return
            self._app.call_later(done, result)
            return
