"""What each command may load: the ones without a screen start without it."""

import subprocess
import sys

import pytest

HEAVY = {"textual", "rich", "numpy", "pydantic", "tinydb", "shtab", "argparse_manpage"}

ALLOWED = [
    (["--version"], set()),
    (["--help"], set()),
    (["completion", "bash"], set()),
    (["manual"], set()),
    (["settings"], set()),
    (["schema"], {"pydantic"}),
    (["localise", "--signs", "knee 2/0"], {"pydantic", "numpy"}),
]


@pytest.mark.parametrize(("arguments", "allowed"), ALLOWED)
def test_a_command_loads_only_what_it_uses(arguments, allowed):
    script = (
        "import sys, contextlib, io\n"
        "from wardexam.commands.main import run\n"
        "with contextlib.redirect_stdout(io.StringIO()), contextlib.suppress(SystemExit):\n"
        f"    run({arguments!r})\n"
        "print(' '.join(sorted({m.split('.')[0] for m in sys.modules})))\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, timeout=60, check=True
    )
    assert HEAVY & set(done.stdout.split()) <= allowed
