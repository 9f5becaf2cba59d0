"""A server for the tests that need one, begun at the first of them; without one they are left out, and that is said."""

import os
from contextlib import contextmanager

import pytest

from tests.records.postgres.server import Server, binaries

WANTED = "WARDEXAM_TEST_SERVER"  # "must": that no server is installed is a failure; "none": none is begun
LEFT_OUT = "no PostgreSQL server is installed, or none is wanted"


def pytest_terminal_summary(terminalreporter):
    """How many tests were left out for want of a server, in one line."""
    skipped = terminalreporter.stats.get("skipped", ())
    count = sum(LEFT_OUT in str(report.longrepr) for report in skipped)
    if count:
        terminalreporter.write_line(f"left out, since {LEFT_OUT}: {count} tests", yellow=True)


@pytest.fixture(scope="session")
def server():
    """A running server of this worker's own."""
    wanted = os.environ.get(WANTED)
    if binaries() is None or wanted == "none":
        (pytest.fail if wanted == "must" else pytest.skip)(LEFT_OUT)
    made = Server()
    yield made
    made.close()


@contextmanager
def database(server, name):
    """The URL of an empty database."""
    from pytest_postgresql.janitor import DatabaseJanitor

    made = DatabaseJanitor(user="owner", host=str(server.folder), port=server.port, dbname=name)
    with made:
        yield server.url(name)


@pytest.fixture(scope="session")
def made_ward(server):
    """The URL of a ward of this worker's own."""
    from wardexam.records.postgres.schema import create
    from wardexam.records.postgres.url import read_url

    with database(server, "ward") as url:
        create(read_url(url))
        yield url


@pytest.fixture
def ward_url(made_ward):
    """The URL of a ward that is empty again."""
    import psycopg

    with psycopg.connect(made_ward, options="-c lock_timeout=10000") as connection:
        for table in ("moved", "origin", "restored", "records", "patients", "trail", "drafts"):
            connection.execute(f"delete from wardexam.{table}")
    return made_ward


@pytest.fixture
def server_ward(ward_url):
    """An empty ward on a server."""
    from wardexam.records.postgres.ward import open_server

    ward = open_server(ward_url)
    yield ward
    ward.close()
