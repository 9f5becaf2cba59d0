"""The tables of practice: each row with its source, each name known, and the published cases none that is sealed."""

import tomllib
from pathlib import Path

import pytest

from wardexam.anatomy.catalogue import catalogue
from wardexam.errors import TableError
from wardexam.exam.flags import flags
from wardexam.practice import tables
from wardexam.practice.case import places
from wardexam.practice.published import Published, Row, published
from wardexam.ready import engine

FOLDER = Path(tables.__file__).parent
PUBLISHED = Path(__file__).parents[1] / "handbook" / "published"


def rows(value):
    """Every row: the innermost tables."""
    inner = [v for v in value.values() if isinstance(v, dict)]
    return [row for v in inner for row in rows(v)] if inner else [value]


@pytest.mark.parametrize("path", sorted(FOLDER.glob("*.toml")), ids=lambda p: p.name)
def test_every_row_names_its_source(path):
    found = rows(tomllib.loads(path.read_text(encoding="utf-8")))
    assert len(found) >= 3
    assert all(len(row["source"]) >= 3 for row in found)


def test_every_sign_and_question_costs_seconds():
    assert all(5 <= tables.seconds(sign) <= 300 for sign in catalogue())
    assert tables.seconds("post_void_residual") > tables.seconds("anal_tone") > tables.seconds("knee")  # fmt: skip
    assert tables.question_seconds("flag") > 0
    assert set(tables.flag_rows()) == set(flags())


@pytest.mark.parametrize(
    ("name", "change", "said"),
    [
        ("costs.toml", ("source = \"judgement: the limb is laid, one or two taps\"", "of = \"x\""), "kinds"),
        ("costs.toml", ("saddle = { seconds = 30", "sadle = { seconds = 30"), "'sadle' is not known"),
        ("costs.toml", ("tone = { seconds = 8", "tune = { seconds = 8"), "'tone' is not known"),
        ("costs.toml", ("gait = { seconds = 45", "gait = { seconds = 0"), "gait"),
    ],
)  # fmt: skip
def test_a_wrong_table_is_refused_with_its_row(monkeypatch, name, change, said):
    text = (FOLDER / name).read_text(encoding="utf-8")
    assert change[0] in text
    changed = tomllib.loads(text.replace(*change, 1))
    monkeypatch.setattr(tables, "table", lambda _: changed)
    tables.costs.cache_clear()
    try:
        with pytest.raises(TableError) as refused:
            tables.costs()
    finally:
        tables.costs.cache_clear()
    assert name in str(refused.value)
    assert said.split(",")[0] in str(refused.value) or "row tendon" in str(refused.value)


def test_published_cases_are_of_the_development_part_alone():
    development = {
        c["id"]: c for c in tomllib.loads((PUBLISHED / "development.toml").read_text())["case"]
    }
    validation = {
        c["id"] for c in tomllib.loads((PUBLISHED / "validation.toml").read_text())["case"]
    }
    assert 20 <= len(published()) <= 40
    for name, case in published().items():
        assert name in development
        assert name not in validation
        assert case.row.entered == development[name]["entered"]


def test_every_published_case_can_be_answered_and_is_urgent_as_its_reader_says():
    known = places(engine().hypotheses)
    assert len({c.row.places[0] for c in published().values()}) >= 12
    for case in published().values():
        assert set(case.truth.places) <= set(known)
        assert len(list(case.tests)) >= 7
        assert case.row.told
        assert case.row.source in case.truth.of


def test_what_a_text_does_not_tell_is_not_known():
    case = published()["h048"]
    assert case.shown(catalogue()["jaw"], "midline") is None
    assert case.answered("cancer") is None
    assert isinstance(case, Published)
    assert Row.model_fields.keys() >= {"source", "confirmation"}
