"""What an examination needs is loaded while the doctor looks at the list."""

import gc
import sys
import threading

from wardexam.terminal.thinking import engine

SWITCH = 0.0005  # seconds; a key must not wait Python's usual 5 ms while a thread computes


def warm() -> None:
    """Load what an examination needs, in a thread.

    What was loaded is then kept out of garbage collection, which would hold up a key; what is garbage of the
    loading is given back before, some 6 MB.
    """

    def keep() -> None:
        gc.collect()
        gc.freeze()

    def load() -> None:
        try:
            keep()
            import wardexam.terminal.examine.screen  # noqa: F401  # loaded here, used by the app
            from wardexam.reasoning.inference.posterior import KEPT_IN_SESSION

            engine().sums.kept = KEPT_IN_SESSION
        except Exception:
            return  # said when the first reading is asked for
        finally:
            keep()
            gc.enable()

    sys.setswitchinterval(SWITCH)
    threading.Thread(target=load, daemon=True, name="wardexam-load").start()
