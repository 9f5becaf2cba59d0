"""What published cases taught multiplies judgement, is refused where it names nothing, and no alarm hears it."""

import numpy as np
import pytest

from tests.handbook import fit
from tests.handbook.published.cases import cases
from wardexam import ready
from wardexam.errors import TableError
from wardexam.exam.examination import Context
from wardexam.reasoning.engine import Engine
from wardexam.reasoning.inference.evidence import WEIGHED
from wardexam.reasoning.inference.prior import Priors, learned, sites
from wardexam.reasoning.tables import Section

STORY = Context(onset="weeks", pain="limb", complaint="weak_arm")


@pytest.fixture
def made():
    return ready.engine().hypotheses


@pytest.fixture
def judged(monkeypatch):
    """Nothing learned."""
    for name in ("site", "form", "told"):
        monkeypatch.setitem(learned(), name, Section({}, name))
    monkeypatch.setitem(learned(), "part", Section(dict.fromkeys(WEIGHED, 1.0), "part"))


def mass(made, priors: Priors, site: str) -> float:
    """How much a site has of the prior."""
    return float(priors.forms(Context())[[f.site == site for f in made.forms]].sum())


@pytest.mark.parametrize(
    ("section", "row"),
    [
        ("site", {"nowhere": 2.0}),
        ("form", {"nerve": {"no nerve": 2.0}}),
        ("told", {"pain": {"limb": {"nowhere": 2.0}}}),
        ("told", {"weather": {"wet": {"nerve": 2.0}}}),
    ],
)
def test_what_names_nothing_is_an_error_at_load(made, judged, monkeypatch, section, row):
    monkeypatch.setitem(learned(), section, Section(row, section))
    with pytest.raises(TableError, match=r"learned\.toml"):
        Priors(made)


def test_the_alarm_weighs_judgement_alone(made, monkeypatch, judged):
    before = Priors(made).log(STORY, alarm=True)
    monkeypatch.setitem(learned(), "site", Section({"none": 5.0, "cauda": 0.1}, "site"))
    row = {"pain": {"limb": {"cord": 0.1}}}
    monkeypatch.setitem(learned(), "told", Section(row, "told"))
    assert (Priors(made).log(STORY, alarm=True) == before).all()
    assert (Priors(made).log(STORY) != Priors(made).log(STORY, alarm=True)).any()


def test_a_form_takes_from_the_others_of_its_site_and_from_no_other(made, judged, monkeypatch):
    judgement = Priors(made)
    before = {site: mass(made, judgement, site) for site in sites()}
    at = [f.name == "long thoracic nerve" for f in made.forms]
    row = {"nerve": {"long thoracic nerve": 4.0}}
    monkeypatch.setitem(learned(), "form", Section(row, "form"))
    after = Priors(made)
    assert {site: mass(made, after, site) for site in sites()} == pytest.approx(before)
    own = [priors.forms(Context())[at].sum() for priors in (judgement, after)]
    assert 3 * own[0] < own[1] < 4 * own[0]


def test_a_site_gains_by_its_factor(made, judged, monkeypatch):
    before = Priors(made)
    monkeypatch.setitem(learned(), "site", Section({"nerve": 2.0}, "site"))
    after = Priors(made)
    odds = [mass(made, p, "nerve") / mass(made, p, "root") for p in (before, after)]
    assert odds[1] == pytest.approx(2 * odds[0])


def test_the_slope_by_which_it_is_fitted_is_that_of_the_loss(made, judged):
    engine = Engine(made)  # of its own: what it keeps is without what was learned
    some = fit.gathered(engine, [c for c in cases("development") if c.site != "two_lesions"][:4])
    model = fit.Model(engine, sorted({word for case in some for word in case.words}))
    random = np.random.default_rng(1)
    numbers = 0.1 * random.standard_normal(len(model.spread))
    weights, step = dict.fromkeys(WEIGHED, 1.0), 1e-5
    _, slope = model.loss(numbers, some, weights)
    ends = [model.at[name].stop - 1 for name in model.at]
    for at in [*ends, *random.integers(0, len(numbers), 8)]:
        moved = np.zeros(len(numbers))
        moved[at] = step
        up, down = (model.loss(numbers + s * moved, some, weights)[0] for s in (1, -1))
        assert slope[at] == pytest.approx((up - down) / (2 * step), rel=1e-4, abs=1e-6)
