"""Run one command and turn whatever happens into an exit code and, at most, one line."""

import os
import sys

from wardexam.commands.arguments import Command, parser
from wardexam.commands.edge import complain
from wardexam.errors import WardexamError


def run(arguments: list[str]) -> int:
    """Run one command.

    Returns:
        0 done; 1 a fault; 2 bad input or usage; 3 the store; 130 interrupted.
    """
    # The ward opens sooner when the grammar of every command need not be made for it.
    bare = not arguments or (arguments[0] == "--db" and len(arguments) == 2)
    options = parser(commands=not bare).parse_args(arguments)
    command: Command = options.command
    try:
        return command(options)
    except WardexamError as error:
        complain(str(error))
        return error.exit_code
    except KeyboardInterrupt:
        return 130
    except BrokenPipeError:
        # The reader of a pipe has left; point stdout nowhere so that its closing stays quiet.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except Exception as error:
        return _fault(error)


def _fault(error: Exception) -> int:
    """A fault of the program as one line: where it is, and nothing that it was working on."""
    import traceback

    frames = traceback.extract_tb(error.__traceback__)
    ours = [f for f in frames if "wardexam" in f.filename] or frames
    place = f" at {os.path.basename(ours[-1].filename)} line {ours[-1].lineno}" if ours else ""
    complain(f"a fault of the program ended it ({type(error).__name__}{place})")
    if os.environ.get("WARDEXAM_TRACEBACK") == "1":
        print("".join(traceback.format_tb(error.__traceback__)), end="", file=sys.stderr)
    return 1
