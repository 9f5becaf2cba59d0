"""The tables of practice: each row with its source, each name known, and the published cases none that is sealed."""

import tomllib
from pathlib import Path

import pytest

from wardexam.anatomy.catalogue import catalogue
from wardexam.errors import TableError
from wardexam.exam.flags import flags
from wardexam.exam.seconds import seconds
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
    assert all(5 <= seconds(sign) <= 300 for sign in catalogue())
    assert seconds("post_void_residual") > seconds("anal_tone") > seconds("knee")
    assert tables.question_seconds("flag") > 0
    assert set(tables.flag_rows()) == set(flags())


@pytest.mark.parametrize("change", [{"places": ()}, {"places": ("spleen",)}, {"accept": ("spleen",)}, {"level": "T13"}, {"entered": "kne 2/2"}])  # fmt: skip
def test_a_published_case_of_a_place_sign_or_level_that_there_is_not_is_refused(
    monkeypatch, change
):
    row = published()["h004"].row.model_copy(update=change)
    monkeypatch.setattr("wardexam.practice.published.rows", lambda *_: {"x1": row})
    with pytest.raises(TableError, match="row x1"):
        published.__wrapped__()


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
