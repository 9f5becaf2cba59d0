"""Stays and events read from a server for counting, also in another process."""

import atexit
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cache

from wardexam.records.light_file import Event, LightFile, event_of
from wardexam.records.light_reading import light_of
from wardexam.records.postgres import trail
from wardexam.records.postgres.reading import patient_tables_of
from wardexam.records.postgres.server import Server


@cache
def _server(parameters: tuple[tuple[str, str], ...]) -> Server:
    """This process's connections."""
    made = Server(dict(parameters))
    atexit.register(made.close)
    return made


@dataclass(frozen=True, slots=True)
class ServerStay:
    """A stay at a server. What opens the server is in no text of it.

    Attributes:
        name: Whose.
    """

    name: str
    _parameters: tuple[tuple[str, str], ...] = field(repr=False)

    def read(self) -> LightFile:
        """The patient's file, verified.

        Raises:
            RecordsError: It cannot be read, or is damaged.
        """
        server = _server(self._parameters)
        tables = server.read(lambda c: patient_tables_of(c, self.name), snapshot=True)
        return light_of(tables, self.name)


def events(server: Server) -> Iterator[Event]:
    """The events of the trail in order; ends at a line that cannot be read, which `check` names."""
    for number, line in enumerate(trail.lines(server), 1):
        try:
            yield event_of(line, number)
        except (ValueError, KeyError, TypeError):
            return
