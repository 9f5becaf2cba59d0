"""`python -m wardexam` and the console command."""

import os
import sys
import threading

INTERRUPTED = 130  # by Ctrl-C, as a shell counts


def main() -> int:
    """Run the command line and return its exit code.

    A thread that still computes, or still writes, cannot be stopped, and Python aborts when it meets one
    while taking itself down. All that matters is on disk by now, so the process ends at once.
    """
    try:
        from wardexam.commands.main import run
        from wardexam.cores import one_thread

        one_thread(os.environ)
        code = run(sys.argv[1:])
    except KeyboardInterrupt:  # before there is anything that answers it
        return INTERRUPTED
    if threading.active_count() > 1:
        for stream in (sys.stdout, sys.stderr):
            try:
                stream.flush()
            except (OSError, ValueError):
                continue  # its reader has gone
        os._exit(code)
    return code


if __name__ == "__main__":
    sys.exit(main())
