"""`wardexam store`: a ward on a server made, brought to this program's form, looked at; any ward moved."""

import argparse

from wardexam.commands import edge
from wardexam.errors import InputError

ACTIONS = ("create", "migrate", "check", "move")


def store(options: argparse.Namespace) -> int:
    """Make a ward on a server, bring it up to date, or say what the server is and what is wrong with it."""
    if options.action == "move":
        return _move(options)
    for given, name in ((options.places, "FROM"), (options.given.get("shared"), "--shared")):
        if given:
            raise InputError(f"{name} goes with 'store move'", options.action, "leave it out")
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


def _move(options: argparse.Namespace) -> int:
    """Move a ward from a folder or a server to another."""
    from wardexam.commands.backup import home_of, progress, say
    from wardexam.records.moving import move
    from wardexam.records.postgres.url import is_server

    if len(options.places) != 2 or options.given.get("db"):
        raise InputError("say from where and where to", "store move", "'wardexam store move FROM TO', each a folder or a URL")  # fmt: skip
    if not all(options.places):
        raise InputError("is empty", "store move", "each is a folder or a URL")
    # That a folder is a ward account's is said of whichever is one.
    source, target = (
        home_of(place, on_command_line=True, shared=options.shared and not is_server(place))
        for place in options.places
    )
    contents = move(
        source, target, by=edge.examiner(options), at=edge.now().isoformat(timespec="seconds"), progress=progress
    )  # fmt: skip
    code = say(contents, f"moved to {target.where}, and read back the same")
    edge.put(f"what was in {source.where} stays there, and nobody can open it\n")
    return code
