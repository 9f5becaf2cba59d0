"""The body facing the reader: what is shaded, what is not, and that the picture shows the same."""

import re

import pytest

from tests.note.test_note import PATIENT, made
from wardexam.anatomy.catalogue import SEGMENTS, catalogue
from wardexam.note.body import ASCII, HALF, SIDES, STATES, UTF8, figure, skin, table
from wardexam.note.svg import render

ROWS = len(table()["rows"])


def states(examination, side):
    """Every skin area of a side with what is known of it."""
    areas = table()["areas"]
    found: dict[str, set[str]] = {}
    for letters, line in zip(table()["rows"], skin(examination, side), strict=True):
        for letter, state in zip(letters, line, strict=True):
            if letter != " ":
                found.setdefault(areas[letter], set()).add(state)
    return found


def lost(examination, side):
    return {a for a, s in states(examination, side).items() if s & {"reduced", "absent"}}


def test_every_dermatome_has_its_place_and_rows_are_whole():
    assert set(table()["areas"].values()) == {
        s.id.removeprefix("pin_") for s in catalogue().values() if s.id.startswith("pin_")
    }
    assert all(len(row) == HALF for row in table()["rows"])
    used = set("".join(table()["rows"])) - {" "}
    assert used == set(table()["areas"])
    assert all(0 < place["row"] < ROWS for place in table()["grades"].values())
    assert len({place["row"] for place in table()["grades"].values()}) == len(table()["grades"])


def test_what_was_not_examined_is_neither_normal_nor_lost():
    assert states(made(""), "right") == {a: {"unknown"} for a in table()["areas"].values()}
    assert len({ASCII[s] for s in STATES}) == len({UTF8[s] for s in STATES}) == len(STATES)


def test_a_statement_is_never_expanded_onto_the_skin():
    assert "normal" not in str(states(made("rest=sensation:right_leg"), "right"))


def test_the_right_stands_on_the_left():
    lines = figure(made("pin_C5 0/2"))
    assert [lines[0].split()[0], lines[0].split()[-1]] == ["RIGHT", "LEFT"]
    shoulder = lines[2]
    assert shoulder.index("#") < shoulder.index("=")


SHADED = [
    ("pin_S1 0/2", "right", {"S1"}),
    ("pin_S1 0/2", "left", set()),
    ("touch_L5 2/1 pin_L5 2/2", "left", {"L5"}),
    ("level_pin T10/none", "right", {*SEGMENTS[SEGMENTS.index("T11") : SEGMENTS.index("S4")], "S4_5"}),
    ("level_pin T10/none", "left", set()),
    ("level_touch C4/C4", "left", {*SEGMENTS[SEGMENTS.index("C5") : SEGMENTS.index("S4")], "S4_5"}),
    ("saddle 1/1", "right", {"S3", "S4_5"}),
    ("perianal 0/2", "right", {"S4_5"}),
    ("stocking ankle/none", "right", {"S1", "L5", "L4"}),
    ("glove none/fingers", "left", {"C6", "C7", "C8"}),
    ("territory_ulnar 2/0", "left", {"C8"}),
]  # fmt: skip


@pytest.mark.parametrize(("line", "side", "areas"), SHADED)
def test_the_loss_is_shaded_where_it_was_found(line, side, areas):
    assert lost(made(line), side) & areas == areas
    if not areas:
        assert lost(made(line), side) == set()


def test_a_level_leaves_what_lies_above_unknown():
    found = states(made("level_pin T10/T10"), "right")
    assert all(found[s] == {"unknown"} for s in ("C5", "T4", "T10"))


def test_the_worst_of_touch_and_pinprick_shows():
    assert states(made("touch_L4 2/2 pin_L4 0/1"), "right")["L4"] == {"absent"}


def test_grades_stand_at_their_sites_and_power_is_told_from_reflexes():
    lines = figure(made("biceps 2/0 knee 3/1 plantar up/down hip_flexion 4/5 jaw 2"))
    beside = {line.split()[-1]: line.split() for line in lines if line.strip()}
    assert beside["biceps"][0] == "2+"
    assert beside["biceps"][-2] == "0"
    assert beside["knee"][0] == "3+"
    assert beside["plantar"][0] == "UP"
    assert beside["flexion"][0] == "4/5"
    assert beside["triceps"][0] == "-"  # core, not examined
    assert not any("wrist extension" in line for line in lines)


@pytest.mark.parametrize("width", [35, 60, 72])
def test_it_fits_and_speaks_ascii_or_not(width):
    examination = made(
        "knee 2/0 level_pin T10/T4 pin_S1 0/0 pin_C5 2/2 pin_C6 3/3 abdominal_upper 0/0"
    )
    for plain in (True, False):
        lines = figure(examination, ascii_only=plain, width=width)
        assert max(map(len, lines)) <= width
        assert all(line.isascii() for line in lines) is plain
        assert len(lines) <= ROWS + {35: 3, 60: 2, 72: 1}[width]


def test_the_picture_shows_the_same_cells_and_grades():
    examination = made("knee 2/0 level_pin T10/T4 pin_S1 0/0 pin_C5 2/2 hip_flexion 4/5 saddle 1/2")
    picture = render(PATIENT, examination)
    lines = figure(examination)[:ROWS]
    drawn = [line[6 : 6 + 2 * HALF] for line in lines]
    for state, mark in ASCII.items():
        if state:
            assert picture.count(f'class="{state}"') == sum(line.count(mark) for line in drawn)
    shown = re.findall(r'text-anchor="end">([^<]+)</text><text[^>]*>([^<]*)</text>', picture)[1:]
    assert shown == [
        (line[:5].strip(), line[25:30].strip()) for line in lines[1:] if line[:5].strip()
    ]
    assert SIDES == ("right", "left")
    assert picture.index("RIGHT") < picture.index("LEFT")


WEAK = "ankle_plantarflexion 4/3 great_toe_extension 4/4 ankle_inversion 3/5 ankle_eversion 3/5 finger_abduction 4/4 hip_flexion 3/5"


@pytest.mark.parametrize("width", [35, 48, 60, 72])
def test_the_figure_shows_every_weak_movement_and_cuts_none(width):
    lines = figure(made(WEAK), width=width)
    assert max(map(len, lines)) <= width
    said = " ".join(" ".join(lines).split())
    for name, grades in {
        "plantarflexion": "right 4, left 3", "great-toe extension": "4 on both sides", "ankle inversion": "right 3, left 5",
        "ankle eversion": "right 3, left 5", "finger abduction": "4 on both sides",
    }.items():  # fmt: skip
        assert f"{name} {grades}" in said
    assert "3/5" in said  # hip flexion, at its own place
    picture = render(PATIENT, made(WEAK))
    assert all(words in picture for words in ("plantarflexion right 4, left 3", "finger abduction"))
    assert "weak" not in " ".join(figure(made("ankle_plantarflexion 5/5"), width=width))
