"""The engine's kept rows: whatever lies in their place, the engine is made and the rows are kept anew."""

import json
import os
import random
import zlib
from functools import cache
from pathlib import Path

import pytest

from wardexam import ready
from wardexam.exam.typed import read_line
from wardexam.reasoning.model import hypotheses
from wardexam.reasoning.model.hypotheses import fingerprint, make, packed
from wardexam.records import cache as store


@cache
def made():
    return make()


@cache
def good():
    return packed(made())


def sealed(body):
    """Bytes with a fitting checksum, as if the rows' own program had written something else."""
    return zlib.crc32(body).to_bytes(4, "big") + body


def with_forms(change):
    """The good rows with their table of forms changed."""
    size = int.from_bytes(good()[4:12], "big")
    table = json.loads(good()[12 : 12 + size])
    head = json.dumps(table | {"forms": change(table["forms"])}).encode()
    return sealed(len(head).to_bytes(8, "big") + head + good()[12 + size :])


def with_draws(change):
    """The good rows, without their checksum, with the row of each draw changed."""
    start = 12 + int.from_bytes(good()[4:12], "big")
    stop = start + made().row_of.nbytes
    return good()[4:start] + change(made().row_of).tobytes() + good()[stop:]


def every(**fields):
    return lambda forms: [form | fields for form in forms]


# Made by the test that asks for it: the rows take half a second.
JUNK = {
    "nothing": lambda: b"",
    "a byte": lambda: b"x",
    "text": lambda: b"junk" * 1000,
    "zeros": lambda: bytes(len(good())),
    "noise": lambda: random.Random(1).randbytes(100_000),
    "cut short": lambda: good()[:-1],
    "a flipped bit": lambda: good()[:-5] + bytes([good()[-5] ^ 1]) + good()[-4:],
    "sealed nothing": lambda: sealed(bytes(8)),
    "sealed noise": lambda: sealed(random.Random(2).randbytes(100_000)),
    "sealed no JSON": lambda: sealed((4).to_bytes(8, "big") + b"junk" + bytes(1000)),
    "sealed other JSON": lambda: sealed((2).to_bytes(8, "big") + b"{}" + bytes(1000)),
    "sealed deep JSON": lambda: sealed((90_000).to_bytes(8, "big") + b"[" * 90_000),
    "sealed numbers": lambda: sealed((9_002).to_bytes(8, "big") + b"[" + b"9" * 9_000 + b"]"),
    "a length beyond the end": lambda: sealed((2**63).to_bytes(8, "big") + b"[]"),
    "no forms": lambda: with_forms(lambda forms: []),
    "half the forms": lambda: with_forms(lambda forms: forms[: len(forms) // 2]),
    "forms twice": lambda: with_forms(lambda forms: forms + forms),
    "the last form alone": lambda: with_forms(lambda forms: forms[-1:]),
    "forms the other way round": lambda: with_forms(lambda forms: forms[::-1]),
    "another site": lambda: with_forms(every(site="nowhere")),
    "another side": lambda: with_forms(every(side="top")),
    "a level of text": lambda: with_forms(every(level="T4")),
    "a level beyond the cord": lambda: with_forms(every(level=999)),
    "a name of numbers": lambda: with_forms(every(name=1)),
    "a weight of text": lambda: with_forms(every(weight="heavy")),
    "a weight that is none": lambda: with_forms(every(weight=float("nan"))),
    "no rows": lambda: with_forms(every(rows=[0, 0])),
    "rows of text": lambda: with_forms(every(rows=["a", "b"])),
    "no draws": lambda: with_forms(every(draws=[0, 0])),
    "a story beyond the last": lambda: with_forms(every(story=9999)),
    "draws of other forms": lambda: sealed(with_draws(lambda rows: rows[::-1])),
    "draws beyond the rows": lambda: sealed(with_draws(lambda rows: rows + rows.max())),
    "an onset of text": lambda: with_forms(every(onset="sudden")),
    "a field more": lambda: with_forms(every(more=1)),
    "codes beyond the table": lambda: sealed(good()[4:-1000] + b"\xff" * 1000),
}  # fmt: skip


@pytest.fixture
def place(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    rows = made()
    monkeypatch.setattr(hypotheses, "make", lambda: rows)
    folder = tmp_path / "cache" / "wardexam"
    folder.mkdir(parents=True)
    return folder / f"rows-{fingerprint()}"


def read():
    ready.engine.cache_clear()
    try:
        return ready.engine().read(read_line("knee 2/0 ankle 2/2 plantar down/up").spelled_out())
    finally:
        ready.engine.cache_clear()


@pytest.fixture(scope="module")
def right():
    from wardexam.reasoning.engine import Engine

    return Engine(made()).read(read_line("knee 2/0 ankle 2/2 plantar down/up").spelled_out())


@pytest.mark.long
@pytest.mark.parametrize("data", JUNK.values(), ids=list(JUNK))
def test_junk_is_made_anew(place, right, data):
    place.write_bytes(data())
    assert read() == right
    assert place.read_bytes() == good()
    assert read() == right


@pytest.mark.long
@pytest.mark.parametrize(
    "kind", ["pipe", "folder", "full folder", "link", "link to itself", "link to a device"]
)
def test_what_is_no_file_makes_way(place, right, kind, tmp_path):
    if kind == "pipe":
        os.mkfifo(place)
    elif "folder" in kind:
        place.mkdir()
        if kind == "full folder":
            (place / "mine").write_text("keep")
    else:
        (tmp_path / "target").write_text("untouched")
        place.symlink_to(
            {"link": tmp_path / "target", "link to itself": place}.get(kind, "/dev/zero")
        )
    assert read() == right
    assert place.read_bytes() == good()
    assert not place.is_symlink()
    if kind == "full folder":  # nothing is lost that we did not write
        assert [p.read_text() for p in place.parent.glob("*/mine")] == ["keep"]
    if kind == "link":
        assert (tmp_path / "target").read_text() == "untouched"


def test_old_rows_go_and_what_is_not_ours_stays(place):
    (place.parent / "rows-old").write_bytes(b"old")
    (place.parent / "rows-folder").mkdir()
    (place.parent / "rows-zold").write_bytes(b"old")
    read()
    assert sorted(p.name for p in place.parent.iterdir()) == sorted([place.name, "rows-folder"])


@pytest.mark.parametrize("kind", ["a file", "nothing", "no right to write"])
def test_without_a_folder_to_keep_them_the_engine_is_made_all_the_same(
    place, right, kind, monkeypatch
):
    place.parent.rmdir()
    if kind == "a file":
        place.parent.write_text("x")
    elif kind == "no right to write":

        def refused(*given, **more):
            raise PermissionError(13, "Permission denied")

        monkeypatch.setattr(store, "write_whole", refused)
    assert read() == right


def test_the_rows_are_mapped_and_cannot_be_written(place):
    read()
    ready.engine.cache_clear()
    codes = ready.engine().hypotheses.codes
    ready.engine.cache_clear()
    assert not codes.flags.writeable
    maps = Path("/proc/self/maps").read_text().splitlines()
    mapped = [line for line in maps if str(place) in line]
    assert [line.split()[1] for line in mapped] == ["r--s"]


def test_rows_that_are_replaced_leave_a_reader_the_ones_it_has(place, right):
    read()
    ready.engine.cache_clear()
    engine = ready.engine()
    ready.engine.cache_clear()
    store.keep(place.name, b"junk")
    said = engine.read(read_line("knee 2/0 ankle 2/2 plantar down/up").spelled_out())
    assert said == right
