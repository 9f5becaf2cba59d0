"""What published cases taught multiplies judgement, is refused where it names nothing, and no alarm hears it."""

from dataclasses import replace

import numpy as np
import pytest

from tests.handbook import fit
from tests.handbook.fit import WEIGHED
from tests.handbook.published.cases import cases
from wardexam import ready
from wardexam.errors import TableError
from wardexam.exam.examination import Context
from wardexam.exam.typed import read_line
from wardexam.reasoning.engine import Engine
from wardexam.reasoning.inference.prior import Priors, learned, sites
from wardexam.reasoning.inference.taught import RELATIONS, Taught, seen, whole
from wardexam.reasoning.tables import Section

STORY = Context(onset="weeks", pain="limb", complaint="weak_arm")


@pytest.fixture
def made():
    return ready.engine().hypotheses


@pytest.fixture
def judged(monkeypatch):
    """Nothing learned."""
    for name in ("site", "form", "told", "found"):
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
        ("told", {"onset": {"sudde": {"nerve": 2.0}}}),
        ("found", {"tail": {"odd": {"same": {"nerve": 2.0}}}}),
        ("found", {"ankle": {"odd": {"same": {"nowhere": 2.0}}}}),
        ("found", {"ankle": {"odd": {"beside": {"nerve": 2.0}}}}),
        ("found", {"ankle": {"strange": {"same": {"nerve": 2.0}}}}),
        ("found", {"ankle": {"odd": {"same": {"nerve": 0.0}}}}),
    ],
)
def test_what_names_nothing_is_an_error_at_load(made, judged, monkeypatch, section, row):
    monkeypatch.setitem(learned(), section, Section(row, section))
    with pytest.raises(TableError, match=r"learned\.toml"):
        Engine(made).posterior(read_line("ankle 0/2+").spelled_out())


@pytest.mark.parametrize(
    ("column", "words", "said"),
    [
        ("onset", {"sudde": 2.0}, "unknown 'sudde'"),
        ("pain", {"bakc": 2.0}, "unknown 'bakc'"),
        ("flag", {"unsuported": 0.1}, "unknown 'unsuported'"),
        ("age", {"elderly": 2.0}, "unknown 'elderly'"),
    ],
)
def test_a_misspelled_word_of_a_story_is_refused_in_the_row_of_a_site(
    made, monkeypatch, column, words, said
):
    monkeypatch.setitem(sites()["nerve"], column, words)
    with pytest.raises(TableError, match=rf"sites\.toml, row nerve, {column}: {said}"):
        Priors(made)


def test_a_misspelled_word_of_a_story_is_refused_in_the_row_of_a_lesion(made):
    first, *others = made.forms
    forms = (replace(first, story={"complaint": {"weak_lge": 2.0}}), *others)
    with pytest.raises(TableError, match=rf"lesion {first.name}, of {first.site}, complaint"):
        Priors(replace(made, forms=forms))


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


FOUND = {"ankle": {"odd": {"same": {"root": 3.0}, "other": {"root": 0.5}, "none": {"cord": 2.0}}}}


@pytest.fixture
def taught(monkeypatch, judged):
    """A lost ankle jerk multiplies three things, and nothing else is learned."""
    monkeypatch.setitem(learned(), "found", Section(FOUND, "found"))


def odds(made, line: str, site: str, side: str) -> float:
    """Of a site on a side, to the inner ear's, which is never taught anything."""
    chance = Engine(made).posterior(read_line(line).spelled_out()).plain
    held = {group: chance[n] for n, group in enumerate(made.groups)}
    own = sum(
        held[made.groups[g]]
        for g in range(len(made.groups))
        if made.forms[made.forms_of[g][0]].site == site
        and {made.forms[f].side for f in made.forms_of[g]} == {side}
    )
    return float(own / held["nerve.vestibulocochlear.left"])


@pytest.mark.parametrize(
    ("line", "site", "side", "factor"),
    [
        ("ankle 0/2+", "root", "right", 3.0),
        ("ankle 0/2+", "root", "left", 0.5),
        ("ankle 2+/0", "root", "left", 3.0),
        ("ankle 0/0", "root", "left", 1.5),
        ("ankle 0/2+", "motor_neurone", "right", 1.0),
        ("ankle 2+/2+", "root", "right", 1.0),
        ("ankle 4+/2+", "root", "right", 1.0),
        ("knee 0/2+", "root", "right", 1.0),
    ],
)
def test_a_sign_out_of_the_usual_multiplies_by_its_factor(
    made, judged, monkeypatch, line, site, side, factor
):
    before = odds(made, line, site, side)
    monkeypatch.setitem(learned(), "found", Section(FOUND, "found"))
    assert odds(made, line, site, side) == pytest.approx(factor * before, rel=1e-4)


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("pin_L5 reduced/normal", "pin_L5 reduced/normal touch_L4 absent/normal"),
        ("level_pin T10/T10", "pin_L2 reduced/reduced pin_T12 reduced/reduced"),
        ("stocking shin/shin", "pin_S1 reduced/reduced"),
    ],
)
def test_the_skin_of_a_limb_counts_once_in_whatever_words(made, one, other):
    taught = Taught(made)
    added = [
        whole(
            taught.each(seen((f, 1.0) for f in read_line(line).spelled_out().findings)),
            len(made.forms),
        )
        for line in (one, other)
    ]
    assert np.allclose(*added)
    assert added[0].any()


def test_what_was_found_before_counts_by_what_is_left_of_it(made, taught):
    found = read_line("ankle 0/-").spelled_out().findings
    now, then = (
        whole(Taught(made).each(seen([(found[0], w)])), len(made.forms)) for w in (1.0, 0.25)
    )
    assert np.allclose(then, now / 4)


def test_no_alarm_hears_what_signs_were_taught(made, judged, monkeypatch):
    line = read_line("ankle 0/2+ knee 2+/2+ ankle_plantarflexion 3/5 hip_flexion 5/5").spelled_out()
    before = Engine(made).read(line)
    row = {"ankle": {"odd": {r: {"cord": 0.1, "cauda": 0.1} for r in RELATIONS}}}
    monkeypatch.setitem(learned(), "found", Section(row, "found"))
    after = Engine(made).read(line)
    assert after.dangerous == before.dangerous
    assert after.sites != before.sites


def test_a_reason_counts_what_its_sign_was_taught(made, judged, monkeypatch):
    line = read_line("ankle 0/2+ knee 2+/2+ ankle_plantarflexion 3/5 hip_flexion 5/5").spelled_out()

    def weight() -> float:
        said = Engine(made).read(line).supports
        return next(e.weight for e in said if e.key == ("ankle", "right"))

    before = weight()
    everywhere = {r: dict.fromkeys(sites(), 10.0) for r in RELATIONS}
    monkeypatch.setitem(learned(), "found", Section({"ankle": {"odd": everywhere}}, "found"))
    assert weight() == pytest.approx(before + 1.0, abs=1e-6)  # tenfold is one ban


def test_the_slope_by_which_it_is_fitted_is_that_of_the_loss(made, judged):
    engine = Engine(made)  # of its own: what it keeps is without what was learned
    some = fit.gathered(engine, [c for c in cases("development") if c.site != "two_lesions"][:4])
    words, signs = {w for c in some for w in c.words}, {what for c in some for what, _ in c.shown}
    published = fit.ratios()
    signs |= {published[0].what}
    model = fit.Model(engine, sorted(words), sorted(signs), published)
    random = np.random.default_rng(1)
    numbers = 0.1 * random.standard_normal(len(model.spread))
    weights, step = dict.fromkeys(WEIGHED, 1.0), 1e-5
    _, slope = model.loss(numbers, some, weights)
    ends = [model.at[name].stop - 1 for name in model.at]
    of_plantar = model.at["found"].start + sorted(signs).index(published[0].what) * model.shape[1]
    ends += range(of_plantar, of_plantar + model.shape[1], 5)
    for at in [*ends, *random.integers(0, len(numbers), 8)]:
        moved = np.zeros(len(numbers))
        moved[at] = step
        up, down = (model.loss(numbers + s * moved, some, weights)[0] for s in (1, -1))
        assert slope[at] == pytest.approx((up - down) / (2 * step), rel=1e-4, abs=1e-6)


def test_published_ratios_draw_what_is_fitted_towards_them(made, judged):
    from scipy.optimize import minimize  # slow to load: not while tests are collected

    published = fit.ratios()
    assert len(published) >= 14
    model = fit.Model(Engine(made), [], sorted({r.what for r in published}), published)
    numbers = minimize(
        model.loss, np.zeros(len(model.spread)), args=([], {}), jac=True, method="L-BFGS-B"
    ).x
    assert model.held(numbers) > model.held(np.zeros(len(model.spread)))
    for ratio in published:
        near = [abs(ratio.of(*model.moved(n, ratio)) - np.log(ratio.row.published)) for n in (0 * numbers, numbers)]  # fmt: skip
        assert near[1] < near[0] + 0.5  # those of one part pull on each other, none far
