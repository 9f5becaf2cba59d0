"""The command line: each command a few lines over the folders below."""


def run(arguments: list[str]) -> int:
    """Run one command and return its exit code."""
    raise SystemExit(f"no command yet: {arguments}")
