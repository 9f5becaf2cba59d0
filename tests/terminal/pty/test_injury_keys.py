"""A cord injury sheet in the real terminal: what it costs in keys, every one counted, and that none is lost."""

import pytest

from tests.terminal.pty.harness import ADMITTING, environ, running, until, wardexam
from wardexam.injury.computed import compute
from wardexam.injury.typed import read_typed
from wardexam.records.ward import open_ward

# Sheets as they are met, with the keys that enter them from the ward to saved; an Enter is a key, so is a blank.
TYPICAL = {
    "complete, thoracic": (
        "\r2t4,1t7,0/2t5,1t6,0\r" "\r2t4,1t6,0/2t6,0\r" "b\r5t1,0\r" "00",
        "light touch right: 2 to T4, 1 to T7, 0\nlight touch left: 2 to T5, 1 to T6, 0\n"
        "pinprick right: 2 to T4, 1 to T6, 0\npinprick left: 2 to T6, 0\nmotor: 55555/00000\nvac no\ndap no",
    ),
    "incomplete, cervical": (
        "b\r2c7,1l3,0\r" "b\r2c7,1t8,0\r" "b\r5554443300\r" "01",
        "light touch: 2 to C7, 1 to L3, 0\npinprick: 2 to C7, 1 to T8, 0\nmotor: 55544/43300\nvac no\ndap yes",
    ),
    "sides differ, power by muscle": (
        "\r2t10,1/2t12,1\r" "\r=\r" "55555" "55433" "55555" "53321" "11",
        "sensation right: 2 to T10, 1\nsensation left: 2 to T12, 1\n"
        "motor right: 55555/55433\nmotor left: 55555/53321\nvac yes\ndap yes",
    ),
}  # fmt: skip


def sheets(tmp_path):
    store = open_ward(tmp_path / "ward")
    return store.file(store.beds()[0].patient_id).sheets


@pytest.mark.long
@pytest.mark.parametrize("name", list(TYPICAL))
def test_a_typical_sheet_costs_less_than_sixty_keys(ward, tmp_path, name):
    entered, wanted = TYPICAL[name]
    keys = f"J{entered}s"
    ward.type(keys)
    ward.wait("SPINAL CORD INJURY")
    (kept,) = sheets(tmp_path)
    assert kept.sheet == read_typed(wanted)
    grade = compute(kept.sheet).results["impairment"].text
    assert f"Impairment scale      {grade}" in ward.text
    assert len(keys) < 60, len(keys)


def test_a_dropped_connection_loses_no_key_that_was_said_to_be_kept(tmp_path):
    place = tmp_path / "ward"
    with running(wardexam("--db", str(place)), environ(tmp_path)) as session:
        session.wait("The ward is empty")
        session.type(ADMITTING)
        session.wait("Admitted")
        session.type("J\r2t4,0\r2")
        session.wait("kept")
        until(lambda: next(place.rglob("*.sheet")).read_bytes().count(b"\n") == 3)
        session.kill(9)
        session.ended()
    with running(wardexam("--db", str(place)), environ(tmp_path)) as session:
        session.wait("Sheet: B7")
        session.type("J")
        session.wait("Draft of a sheet resumed")
        session.type("s")
        session.wait("SPINAL CORD INJURY")
        (kept,) = sheets(tmp_path)
        assert kept.sheet.light_touch.right == read_typed("right touch: 2t4, 0").light_touch.right
        assert kept.sheet.light_touch.left == {"C2": "2"}
        session.kill(15)
        session.ended()
