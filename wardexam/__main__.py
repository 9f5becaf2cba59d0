"""`python -m wardexam` and the console command."""

import sys


def main() -> int:
    """Run the command line and return its exit code."""
    from wardexam.commands.main import run

    return run(sys.argv[1:])


if __name__ == "__main__":
    sys.exit(main())
