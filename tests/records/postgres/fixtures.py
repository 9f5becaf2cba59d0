"""A server for the tests that need one, begun at the first of them; without one they are left out, and that is said."""

import itertools
import os

import pytest

from tests.records.postgres.server import Server, binaries

MUST = "WARDEXAM_TEST_SERVER"  # set: that no server is installed is a failure
LEFT_OUT = "no PostgreSQL server is installed"
_numbers = itertools.count()


def pytest_terminal_summary(terminalreporter):
    """How many tests were left out for want of a server, in one line."""
    skipped = terminalreporter.stats.get("skipped", ())
    count = sum(LEFT_OUT in str(report.longrepr) for report in skipped)
    if count:
        terminalreporter.write_line(f"left out, since {LEFT_OUT}: {count} tests", yellow=True)


@pytest.fixture(scope="session")
def server():
    """A running server of this worker's own."""
    if binaries() is None:
        (pytest.fail if os.environ.get(MUST) else pytest.skip)(LEFT_OUT)
    made = Server()
    yield made
    made.close()


@pytest.fixture(scope="session")
def made_ward(server):
    """The name of a database with an empty ward, which the others are copies of."""
    from wardexam.records.postgres.schema import create
    from wardexam.records.postgres.url import read_url

    create(read_url(server.url("ward_made")))
    return "ward_made"


@pytest.fixture
def ward_url(server, made_ward):
    """The URL of an empty ward of this test's own."""
    from pytest_postgresql.janitor import DatabaseJanitor

    name = f"ward_{next(_numbers)}"
    copied = DatabaseJanitor(
        user="owner", host=str(server.folder), port=server.port, dbname=name, template_dbname=made_ward
    )  # fmt: skip
    with copied:
        yield server.url(name)


@pytest.fixture
def server_ward(ward_url):
    """An empty ward on a server."""
    from wardexam.records.postgres.ward import open_server

    ward = open_server(ward_url)
    yield ward
    ward.close()
