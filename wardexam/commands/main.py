"""Run one command and turn whatever happens into an exit code and, at most, one line."""

import os
import sys

from wardexam.commands import edge
from wardexam.commands.arguments import Command, parse
from wardexam.commands.settings import take
from wardexam.errors import RecordsError, WardexamError


def run(arguments: list[str]) -> int:
    """Run one command; all it said is written when this returns.

    Returns:
        0 done; 1 a fault; 2 bad input or usage; 3 the store; 130 interrupted.
    """
    code = _run(arguments)
    try:
        edge.flush()
    except BrokenPipeError:
        edge.silence(sys.stdout)
    except edge.OutputError as error:
        edge.silence(sys.stdout)
        if code == 0:
            edge.complain(str(error))
            code = error.exit_code
    return code


def _run(arguments: list[str]) -> int:
    try:
        options = parse(arguments)
        take(options)
        command: Command = options.command
        return command(options)
    except SystemExit as left:  # the grammar has said what there is to say
        return left.code if isinstance(left.code, int) else 0
    except WardexamError as error:
        if isinstance(error, edge.OutputError):
            edge.silence(sys.stdout)
        edge.complain(str(error))
        return error.exit_code
    except KeyboardInterrupt:
        return 130
    except BrokenPipeError:  # the reader of a pipe has left
        edge.silence(sys.stdout)
        return 0
    except OSError as error:
        edge.complain(_of_the_system(error))
        return RecordsError.exit_code
    except Exception as error:
        return _fault(error)


def _of_the_system(error: OSError) -> str:
    """What the system refused, in its own words, and where."""
    where = f": {os.fsdecode(error.filename)}" if isinstance(error.filename, str | bytes) else ""
    return f"the system refused: {error.strerror or type(error).__name__}{where}"


def _fault(error: Exception) -> int:
    """A fault of the program as one line: where it is, and nothing that it was working on."""
    import traceback

    frames = traceback.extract_tb(error.__traceback__)
    ours = [f for f in frames if "wardexam" in f.filename] or frames
    place = f" at {os.path.basename(ours[-1].filename)} line {ours[-1].lineno}" if ours else ""
    edge.complain(f"a fault of the program ended it ({type(error).__name__}{place})")
    if os.environ.get("WARDEXAM_TRACEBACK") == "1":
        edge.remark("".join(traceback.format_tb(error.__traceback__)))
    return 1
