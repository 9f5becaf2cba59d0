"""`wardexam store`: a ward on a server, made, brought to this program's form, looked at."""

import argparse

from wardexam.commands import edge
from wardexam.errors import InputError

ACTIONS = ("create", "migrate", "check")


def store(options: argparse.Namespace) -> int:
    """Make a ward on a server, bring it up to date, or say what the server is and what is wrong with it."""
    place, on_command_line = edge.place(options)
    from wardexam.records.postgres.url import is_server, read_url

    if not is_server(place):
        raise InputError(
            "a ward on a server is meant, and this is a folder" if place else "say which server",
            place[:80],
            "--db postgresql://host/database, or service=name",
        )
    parameters = read_url(place, on_command_line=on_command_line)
    if options.action == "check":
        return _check(parameters)
    from wardexam.records.postgres import schema

    done = {"create": schema.create, "migrate": schema.migrate}[options.action]
    lines: list[str] = []
    done(parameters, lines.append)
    edge.put("".join(f"{edge.on_one_line(line)}\n" for line in lines))
    edge.put(f"the ward has form {schema.steps()[-1].number}, the newest\n")
    return 0


def _check(parameters: dict[str, str]) -> int:
    from wardexam.records.postgres.server_check import look

    facts, faults = look(parameters)
    for line in (*facts, *faults):
        edge.put(f"{edge.on_one_line(line)}\n")
    edge.put("see above\n" if faults else "all as it should be\n")
    return 1 if faults else 0
