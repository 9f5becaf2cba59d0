"""What an examination needs is loaded in a thread after the list is there, and not before."""

import subprocess
import sys

LATE = ("wardexam.terminal.examine.screen", "wardexam.reasoning.engine", "numpy")
LOADED = f"""
import gc, sys, threading
import wardexam.terminal.app
from wardexam.terminal.loading import SWITCH, warm

print(*(name in sys.modules for name in {LATE!r}))
gc.disable()  # as the command does at its start
warm()
(thread,) = (t for t in threading.enumerate() if t.name == "wardexam-load")
thread.join()
from wardexam.ready import engine

print(*(name in sys.modules for name in {LATE!r}))
print(engine.cache_info().misses, gc.isenabled(), gc.get_freeze_count() > 0, sys.getswitchinterval() == SWITCH)
"""


def test_the_examination_and_the_engine_are_loaded_after_the_list():
    done = subprocess.run(
        [sys.executable, "-c", LOADED], capture_output=True, text=True, timeout=60, check=True
    )
    before, after, how = done.stdout.splitlines()
    assert before == "False False False"
    assert after == "True True True"
    assert how == "1 True True True"
