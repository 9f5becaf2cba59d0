"""Linear algebra takes one core, of every command and unless the user said otherwise."""

import os
import subprocess
import sys

import pytest

from wardexam.cores import one_thread


def test_linear_algebra_uses_one_thread_unless_the_user_said_otherwise():
    environ = {"OMP_NUM_THREADS": "4"}
    one_thread(environ)
    assert environ == {"OMP_NUM_THREADS": "4", "OPENBLAS_NUM_THREADS": "1", "MKL_NUM_THREADS": "1"}


@pytest.mark.long
def test_every_command_reads_with_one_thread():
    script = (
        "import os, sys; sys.argv = ['wardexam', 'localise', '--signs', 'knee 2/0'];"
        "from wardexam.__main__ import main; code = main();"
        "print(os.environ['OPENBLAS_NUM_THREADS'], len(os.listdir('/proc/self/task')), code)"
    )
    environ = {n: v for n, v in os.environ.items() if not n.endswith("_NUM_THREADS")}
    done = subprocess.run(
        [sys.executable, "-c", script], env=environ, capture_output=True, text=True, check=True
    )
    assert done.stdout.splitlines()[-1] == "1 1 0"
