"""The engine: what must hold whatever is entered, and what is right on the plain facts of the trade."""

import math
import random
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tests.handbook.fit import WEIGHED
from tests.handbook.rule_samples import level_of
from tests.reasoning.test_mirror import examinations
from wardexam import ready
from wardexam.anatomy.catalogue import SEGMENTS, catalogue
from wardexam.anatomy.lesion_tables import check_lesions
from wardexam.anatomy.structures import ancestry, branches, check_signs
from wardexam.exam.answers import answers_for
from wardexam.exam.examination import Context, Examination
from wardexam.exam.findings import Finding, RestNormal
from wardexam.exam.flags import every_flag
from wardexam.exam.seconds import seconds
from wardexam.exam.sheet import Sheet, SheetFinding
from wardexam.exam.typed import read_line
from wardexam.reasoning.inference.explanation import told_words, weighed
from wardexam.reasoning.inference.next_sign import informed, next_signs
from wardexam.reasoning.inference.posterior import Sums, answered_yes
from wardexam.reasoning.inference.prior import Priors, learned
from wardexam.reasoning.model import observation
from wardexam.reasoning.model.codes import BRISK_WEIGHTS
from wardexam.reasoning.model.damage import Body
from wardexam.reasoning.model.forms import PAIRS, Form
from wardexam.reasoning.model.hypotheses import Hypotheses
from wardexam.reasoning.model.losses import motor_lower, upper_motor
from wardexam.reasoning.model.pathways import own
from wardexam.reasoning.rules.conditions import held, table
from wardexam.reasoning.rules.raising import rising
from wardexam.reasoning.rules.urgency import assess
from wardexam.reasoning.tables import weighing_row

SIDED = [
    s
    for s in catalogue().values()
    if s.sides == "each" and s.answers != "level" and s.id != "aphasia"
]
SWAP = {"right": "left", "left": "right", "midline": "midline", "both": "both", "none": "none"}


@st.composite
def sheets(draw):
    chosen = draw(
        st.lists(st.sampled_from(SIDED), min_size=1, max_size=6, unique_by=lambda s: s.id)
    )
    found = []
    for sign in chosen:
        for side in draw(st.sampled_from([("right",), ("left",), ("right", "left")])):
            answer = draw(st.sampled_from(answers_for(sign.answers).codes))
            found.append({"sign": sign.id, "side": side, "answer": answer})
    return found


def examination(found) -> Examination:
    return Sheet(findings=tuple(SheetFinding.model_validate(f) for f in found)).spelled_out()


def mass(reading_sites):
    return {s.id: s.probability for s in reading_sites}


def swapped(site_id):
    head, _, tail = site_id.rpartition(".")
    return f"{head}.{SWAP[tail]}" if tail in SWAP and head else site_id


@settings(max_examples=40, deadline=None)
@given(sheets())
def test_swapping_the_sides_swaps_the_answer(found):
    """Exactly: the same sums in the same order, but for the order of rows within a group."""
    engine = ready.engine()
    one = engine.posterior(examination(found), silence=False)
    other = engine.posterior(
        examination([f | {"side": SWAP[f["side"]]} for f in found]), silence=False
    )
    groups = engine.hypotheses.groups
    for number, group in enumerate(groups):
        there = other.groups[groups.index(swapped(group))]
        assert one.groups[number] == pytest.approx(there, abs=1e-12)


def test_every_form_has_its_mirror_to_the_last_code():
    """Row by row: a form on the right gives the left signs what its fellow on the left gives the right."""
    made = ready.engine().hypotheses
    by_key = {}
    for form in made.forms:
        by_key.setdefault((form.group, form.side, form.level, form.name, form.weight), []).append(
            form
        )
    differing = total = 0
    for (group, side, *rest), forms in by_key.items():
        if side not in ("right", "left"):
            continue
        fellows = by_key[(swapped(group), SWAP[side], *rest)]
        for form, fellow in zip(forms, fellows, strict=True):
            # Draw by draw, each with the one in which the other side is worse.
            mirror = made.row_of[fellow.draws].reshape(-1, 2)[:, ::-1].ravel()
            for sign in catalogue().values():
                if sign.id == "aphasia":
                    continue
                for at in ("right", "left") if sign.sides == "each" else ("midline",):
                    here = made.code(sign.id, at)[made.row_of[form.draws]]
                    there = made.code(sign.id, SWAP[at])[mirror]
                    differing += int((here != there).sum())
                    total += len(here)
    assert total > 1_000_000
    assert differing == 0


@settings(max_examples=15, deadline=None)
@given(sheets(), st.randoms())
def test_the_order_of_entry_does_not_matter_and_probabilities_add_up(found, random):
    shuffled = list(found)
    random.shuffle(shuffled)
    one = ready.engine().read(examination(found))
    other = ready.engine().read(examination(shuffled))
    assert mass(one.sites) == pytest.approx(mass(other.sites))
    assert sum(s.probability for s in one.sites) == pytest.approx(1)


def test_nothing_entered_gives_the_prior_and_what_would_help():
    engine = ready.engine()
    reading = engine.read(examination([]))
    assert reading.entered == 0
    by_group = prior_of(engine)
    for site in reading.sites:
        if site.id != "other":
            assert site.probability == pytest.approx(by_group[site.id], abs=1e-6)
    assert reading.next_signs[0].bits > 0


def test_what_every_unexamined_sign_would_tell_is_what_the_next_sign_is_chosen_by():
    engine = ready.engine()
    found = examination([{"sign": "triceps", "side": "left", "answer": "0"}])
    found = found.model_copy(update={"context": Context(onset="longer")})
    told = engine.information(found)
    assert ("triceps", "left") not in told
    assert set(told) >= {("triceps", "right"), ("ankle", "left"), ("gait", "midline")}
    assert all(bits >= 0 for bits in told.values())
    chosen = engine.read(found).next_signs
    assert {s.key: s.bits for s in chosen} == {s.key: told[s.key] for s in chosen}
    assert not any(
        s.urgent for s in chosen
    )  # nothing here may raise the urgency by what is worth it
    each = {key: bits / seconds(key[0]) for key, bits in told.items()}
    worth = [each[s.key] for s in chosen]
    assert worth[0] == pytest.approx(max(each.values()))
    assert worth == pytest.approx(sorted(worth, reverse=True))


@pytest.mark.parametrize(
    "line",
    [
        "onset=weeks power_leg 3/full hip_extension_returns present/absent plantar up/down knee 3/2 clonus_ankle sustained/none",
        "onset=longer complaint=unsteady slowness absent/present tremor_rest absent/present tone_arm normal/rigid",
        "age=60 onset=longer complaint=numb_feet vibration_leg 0/0 ankle 0/0",
    ],
)
def test_of_signs_that_would_all_point_to_the_same_places_one_is_proposed(line):
    chosen = ready.engine().read(read_line(line).spelled_out()).next_signs
    rows = [(catalogue()[s.key[0]], s.key[1], s.outcomes) for s in chosen]
    told = [
        (row.part, row.limb, side, tuple(place.rpartition(" ")[0] for _, place in outcomes))
        for row, side, outcomes in rows
    ]
    assert len(chosen) >= 3
    assert len(set(told)) == len(told)


def test_no_answer_of_a_next_sign_is_said_to_settle_it():
    for line in (
        "onset=days power_leg 1/1 plantar extensor/extensor",
        "onset=weeks wrist_extension 5/2 finger_extension 5/2",
        "onset=longer age=70 ankle 0/0",
    ):
        said = ready.engine().read(read_line(line).spelled_out()).next_signs
        assert said
        surest = max(
            int(words.rstrip("%").rpartition(" ")[2]) for s in said for _, words in s.outcomes
        )
        assert surest <= 97


@pytest.mark.parametrize(
    "line",
    ["onset=days knee 2/0", "onset=hours face_lower 5/3 elbow_flexion 5/4", "ankle 0/0 age=70"],
)
def test_what_a_next_sign_would_say_is_in_the_mean_what_is_said_now(line):
    engine, found = ready.engine(), read_line(line).spelled_out()
    posterior = engine.posterior(found)
    asked = informed(posterior, found)
    said = posterior.groups[asked.groups]
    for told in asked.told:
        assert asked.share * told.joint.sum(axis=1) == pytest.approx(said, abs=1e-9)


def test_what_needs_the_patients_help_is_not_asked_of_the_unconscious():
    line = "onset=hours drowsiness marked pupil_dilated present/absent plantar up/down"
    found = read_line(line).spelled_out()
    asked = [t.sign for t in informed(ready.engine().posterior(found), found).told]
    assert asked
    assert not any(s.part in ("power", "sensation") or s.id in ("aphasia", "gait") for s in asked)


@pytest.mark.parametrize(
    ("line", "first"),
    [
        ("onset=weeks pain=back ankle 0/2", "bladder"),
        ("onset=weeks age=60 pain=neck hoffmann present/absent biceps 3/3", None),
    ],
)
def test_what_may_raise_the_urgency_is_asked_first(line, first):
    """Each of the first signs has an answer with which the rules call for more, or no sign has."""
    found = read_line(line).spelled_out()
    level = level_of(found)
    chosen = ready.engine().read(found).next_signs
    if first:
        assert first in [s.key[0] for s in chosen[:2]]
    for sign in (s for s in chosen if s.rise > 0):
        row, worst = catalogue()[sign.key[0]], 0
        for answer in answers_for(row.answers, "conventional").codes:
            scale = "conventional" if row.answers == "tendon" else None
            amount = 700 if row.answers == "residual" else None
            one = Finding(sign=row.id, side=sign.key[1], answer=answer, scale=scale, amount=amount)
            whole = found.model_copy(update={"findings": (*found.findings, one)})
            worst = max(worst, level_of(whole) - level)
        assert worst > 0, sign


def test_where_nothing_can_be_graver_what_tells_most_of_the_site_is_asked():
    found = read_line("onset=hours ankle 0/0 saddle 0/0 bladder retention").spelled_out()
    assert level_of(found) == 3
    assert all(s.rise == 0 for s in ready.engine().read(found).next_signs)


def test_the_rules_asked_for_one_more_finding_say_what_they_say_of_the_whole():
    """The shortened way to ask is the long one, over random sheets and signs."""
    for number, found in enumerate(examinations(11, 60)):
        found = found.model_copy(update={"context": found.context.model_copy(update={"onset": ("longer", "days")[number % 2]})})  # fmt: skip
        known = {f.key for f in found.findings}
        asked = [f for other in examinations(100 + number, 2) for f in other.findings
                 if f.key not in known and f.answer is not None and not (f.choice and f.choice.usual)]  # fmt: skip
        level = level_of(found)
        long = [
            level_of(found.model_copy(update={"findings": (*found.findings, one)})) - level
            for one in asked
        ]
        rises = rising(found)
        assert (rises(asked) if rises else [0] * len(asked)) == long


def asked(seed: int, count: int):
    """Random examinations in which some questions are answered."""
    draw = random.Random(seed)
    for found in examinations(seed, count):
        flags = {f: draw.choice(("yes", "no")) for f in draw.sample(list(every_flag()), 6)}
        yield found.model_copy(update={"flags": flags})


def test_a_condition_that_is_left_untried_would_not_have_held():
    opened = 0
    for found in asked(5, 300):
        seen = held(found).seen
        assert held(found).names == seen.hold(table().order)
        opened += len(table().open_to(seen))
    assert opened < 300 * len(table().order) / 2  # most are left untried


class Asked:
    """The rises of urgency, with how many findings were asked about; `most` says of which it is worth it."""

    def __init__(self, rises, most):
        self.rises, self.most, self.count = rises, most, 0

    def __call__(self, possible):
        self.count += len(possible)
        return self.rises(possible)


@pytest.mark.long
def test_a_sign_that_the_rules_are_not_asked_about_would_not_have_come_first():
    engine, fewer = ready.engine(), 0
    for found in examinations(6, 60):
        slow = found.context.model_copy(update={"onset": "longer"})  # few are at the top already
        found = found.model_copy(update={"context": slow})
        posterior, rises = engine.posterior(found), rising(found)
        if rises is None:
            continue
        every, few = Asked(rises, math.inf), Asked(rises, rises.most)
        assert next_signs(posterior, found, few) == next_signs(posterior, found, every)
        fewer += few.count < every.count
    assert fewer > 10


def prior_of(engine) -> dict[str, float]:
    made = engine.hypotheses
    prior = Priors(made).of_rows(Context(), ("unexplained", "unpainful", "unsupported"))
    mass = np.bincount(made.group_of, np.exp(prior), len(made.groups))
    return dict(zip(made.groups, mass, strict=True))


def test_not_testable_changes_nothing():
    found = [{"sign": "knee", "side": "left", "answer": "0"}]
    more = [*found, {"sign": "ankle", "side": "left", "answer": None, "not_testable": "cast"}]
    engine = ready.engine()
    one = engine.read(examination(found), silence=False)
    assert mass(engine.read(examination(more), silence=False).sites) == pytest.approx(
        mass(one.sites)
    )


def test_weights_of_evidence_for_a_single_finding_are_its_change_in_log_odds():
    engine = ready.engine()
    found = examination([{"sign": "knee", "side": "left", "answer": "0"}])
    reading = engine.read(found, silence=False)
    top, second = reading.sites[:2]
    prior = prior_of(engine)
    posterior = engine.posterior(found, silence=False)
    plain = posterior.plain
    chance = dict(zip(engine.hypotheses.groups, plain, strict=True))
    change = np.log10(chance[top.id] / chance[second.id]) - np.log10(
        prior[top.id] / prior[second.id]
    )
    (told,) = weighed(posterior, reading.sites, engine.sums.among_all, {}, Context()).second
    assert told.weight == pytest.approx(change, abs=1e-4)


def test_a_reason_is_what_the_leader_makes_likelier_than_it_is_among_all_and_no_silence():
    line = "knee 2/0 ankle 2/2 knee_extension 5/3 hip_flexion 5/4 pain=back age=50 onset=days"
    reading = ready.engine().read(read_line(line).spelled_out())
    assert "left knee 0" in {e.text for e in reading.supports[:3]}
    every = (*reading.supports, *reading.opposes, *reading.separates)
    assert {e.kind for e in every} <= {"finding", "stated", "story", "told"}
    leader = reading.sites[0].name
    assert "left" in leader
    assert all(e.key != ("knee", "left") for e in reading.opposes)


def test_no_place_is_ever_certain_and_nothing_found_is_not_tempered():
    sure = "power_leg 0/0 level_pin T8/T8 plantar 3/3 anal_tone absent bladder retention reflexes_leg 3/3"
    reading = ready.engine().read(read_line(sure).spelled_out())
    assert reading.sites[0].region == "cord"
    assert 0.9 < reading.sites[0].probability < 0.99
    assert sum(s.probability for s in reading.sites) == pytest.approx(1.0)
    story = "complaint=leg_pain pain=limb trauma=yes flag:limb_cold=yes flag:limb_tense=yes power_leg 0/5"
    assert ready.engine().read(read_line(story).spelled_out()).sites[0].probability < 0.99


@settings(max_examples=10, deadline=None)
@given(sheets())
def test_weights_added_one_finding_at_a_time_add_up_to_the_log_odds(found):
    engine = ready.engine()
    groups = engine.hypotheses.groups
    steps = [engine.posterior(examination(found[:n]), silence=False) for n in range(len(found) + 1)]
    top, second = np.argsort(-steps[-1].groups)[:2]
    if steps[-1].groups[second] < 1e-6:
        return
    odds = [float(np.log(s.groups[top]) - np.log(s.groups[second])) for s in steps]
    gained = sum(b - a for a, b in pairwise(odds))
    prior = prior_of(engine)
    before = np.log(prior[groups[top]]) - np.log(prior[groups[second]])
    assert odds[0] == pytest.approx(before, abs=1e-4)
    assert before + gained == pytest.approx(odds[-1], abs=1e-4)


@settings(max_examples=15, deadline=None)
@given(sheets())
def test_reading_again_changes_nothing(found):
    engine = ready.engine()
    one = engine.read(examination(found), silence=False)
    engine.read(examination(found[:1]), silence=False)
    assert engine.read(examination(found), silence=False) == one


@settings(max_examples=25, deadline=None)
@given(sheets(), st.sampled_from(["power", "sensation", "reflexes"]), st.booleans())
def test_statements_and_silence_never_move_the_urgency(found, part, silence):
    told = examination(found).model_copy(
        update={"rest_normal": (RestNormal(part=part, limb="left leg"),)}
    )
    bare = assess(examination(found), None, ready.engine().read(examination(found), silence=False))
    assert assess(told, None, ready.engine().read(told, silence=silence)).level == bare.level


def test_what_is_not_known_never_stops_the_answer():
    nothing = [
        {"sign": s.id, "side": "right", "answer": None, "not_testable": "cast"} for s in SIDED
    ]
    reading = ready.engine().read(examination(nothing))
    assert reading.entered == 0
    assert sum(s.probability for s in reading.sites) == pytest.approx(1)


FACTS = [
    (
        "biceps 2/2 brachioradialis 2/2 triceps 2/2 knee 2/0 ankle 2/2 plantar down/down",
        {"root", "nerve", "plexus"},
        "left",
    ),
    (
        "biceps 2/2 triceps 2/2 knee 2/2 ankle 0/2 plantar down/down",
        {"root", "nerve", "plexus"},
        "right",
    ),
]


@pytest.mark.parametrize(("line", "regions", "side"), FACTS)
def test_one_absent_reflex_points_to_its_arc_on_its_side(line, regions, side):
    top = ready.engine().read(read_line(line).spelled_out()).sites[0]
    assert (top.region in regions, top.side) == (True, side)  # common practice


def test_brisk_with_clonus_and_extensor_plantar_points_above_the_arc():
    sites = (
        ready.engine()
        .read(
            read_line(
                "biceps 2/2 triceps 2/2 knee 4/4 ankle 4/4 plantar up/up clonus_ankle sustained/sustained"
            ).spelled_out()
        )
        .sites
    )
    assert sites[0].region == "cord"  # common practice
    assert sites[0].urgent


def test_symmetrical_briskness_alone_is_not_a_lesion():
    line = "jaw 2 biceps 3/3 triceps 3/3 knee 3/3 ankle 3/3 plantar down/down hoffmann absent/absent clonus_ankle none/none"
    sites = ready.engine().read(read_line(line).spelled_out()).sites
    one_sided = ready.engine().read(read_line(line.replace("3/3", "3/2")).spelled_out()).sites
    none = next(s.probability for s in sites if s.region == "none")
    other = next((s.probability for s in one_sided if s.region == "none"), 0.0)
    assert none == max(s.probability for s in sites)
    assert other < none  # a one-sided change outweighs the same change on both sides


def test_contradictory_findings_are_answered_as_not_one_lesion():
    line = "biceps 0/4 triceps 4/0 knee 0/4 ankle 4/0 plantar down/up power_arm 5/0 power_leg 0/5 stocking thigh/none anal_tone 2 aphasia marked"
    reading = ready.engine().read(read_line(line).spelled_out())
    assert not reading.fits_one


def test_the_ordinal_probit_agrees_with_scipy():
    from scipy import stats  # slow to load: not while tests are collected

    x = np.linspace(-6, 6, 101)
    for low, high, spread in ((-99.0, -2.35, 0.75), (-1.05, 1.05, 0.75), (2.35, 99.0, 0.7)):
        expected = stats.norm.cdf((high - x) / spread) - stats.norm.cdf((low - x) / spread)
        assert observation.probit(x, low, high, spread) == pytest.approx(expected, abs=1e-12)


def test_exact_inference_by_a_general_library_agrees():
    """A reduced network: 40 rows, three knee and ankle findings, no tempering, one briskness."""
    import pyagrum as gum  # slow to load: not while tests are collected

    engine = ready.engine()
    pick = np.linspace(0, engine.hypotheses.rows - 1, 40).astype(int)
    prior = np.exp(Priors(engine.hypotheses).of_rows(Context()))[pick]
    prior = prior / prior.sum()
    net = gum.BayesNet()
    net.add(gum.LabelizedVariable("site", "", len(pick)))
    net.cpt("site")[:] = prior
    evidence, expected = {}, np.log(prior)
    for sign, side, answer in (
        ("knee", "right", "absent"),
        ("ankle", "left", "normal"),
        ("knee", "left", "brisk"),
    ):
        made = observation.observed(catalogue()[sign], Context())
        chance = made.chance[engine.hypotheses.code(sign, side)[pick], :, 1]
        name = f"{sign}_{side}"
        net.add(gum.LabelizedVariable(name, "", len(made.answers)))
        net.addArc("site", name)
        for row in range(len(pick)):
            net.cpt(name)[{"site": row}] = chance[row]
        evidence[name] = made.answers.index(answer)
        expected = expected + np.log(chance[:, made.answers.index(answer)])
    inference = gum.LazyPropagation(net)
    inference.setEvidence(evidence)
    inference.makeInference()
    ours = np.exp(expected - expected.max())
    assert np.array(inference.posterior("site").tolist()) == pytest.approx(
        ours / ours.sum(), abs=1e-9
    )


def test_exact_inference_by_a_general_library_agrees_with_the_engine_itself(monkeypatch):
    """The engine on few rows in double precision against belief propagation, briskness summed out; no part weighs more."""
    monkeypatch.setitem(learned(), "part", dict.fromkeys(WEIGHED, 1.0))
    import pyagrum as gum  # slow to load: not while tests are collected

    made = ready.engine().hypotheses
    pick, each = np.linspace(0, made.rows - 1, 60).astype(int), 2 * PAIRS
    few = Hypotheses(
        tuple(
            Form(
                f"site{n}",
                f"site{n}",
                "none",
                None,
                "x",
                1.0,
                False,
                draws=slice(n * each, (n + 1) * each),
                rows=slice(n, n + 1),
            )
            for n in range(len(pick))
        ),
        len(pick),
        np.ascontiguousarray(made.codes[:, pick]),
        made.at,
        np.repeat(np.arange(len(pick), dtype=np.uint16), each),
    )
    sums = Sums(few, np.float64)
    prior = np.exp(Priors(made).of_rows(Context()))[pick]
    prior = prior / prior.sum()
    found = [
        ("knee", "right", "absent", "0"),
        ("knee", "left", "brisk", "3+"),
        ("ankle", "left", "normal", "2+"),
        ("plantar", "left", "extensor", "extensor"),
    ]
    examined = examination([{"sign": s, "side": d, "answer": a} for s, d, _, a in found])
    sums._priors[Context(), frozenset(answered_yes(examined)), False] = np.log(prior)
    ours = sums.posterior(examined, silence=False)
    net = gum.BayesNet()
    net.add(gum.LabelizedVariable("site", "", len(pick)))
    net.add(gum.LabelizedVariable("brisk", "", 3))
    net.cpt("site")[:] = prior
    net.cpt("brisk")[:] = BRISK_WEIGHTS
    evidence = {}
    for sign, side, meaning, _ in found:
        table = observation.observed(catalogue()[sign], Context())
        chance = table.chance[few.code(sign, side)]
        name = f"{sign}_{side}"
        net.add(gum.LabelizedVariable(name, "", len(table.answers)))
        net.addArc("site", name)
        net.addArc("brisk", name)
        for row in range(len(pick)):
            for brisk in range(3):
                net.cpt(name)[{"site": row, "brisk": brisk}] = chance[row, :, brisk]
        evidence[name] = table.answers.index(meaning)
    inference = gum.LazyPropagation(net)
    inference.setEvidence(evidence)
    inference.makeInference()
    theirs = np.array(inference.posterior("site").tolist())
    shown = np.zeros(len(pick))
    shown[ours.kept] = ours.rows
    assert shown == pytest.approx(theirs, abs=1e-9)


def test_cutting_a_branch_takes_exactly_the_movements_that_hang_on_it():
    """The wiring as a graph: what a cut disconnects is what the forward model loses."""
    import networkx as nx  # slow to load: not while tests are collected

    graph = nx.DiGraph()
    for branch, row in branches().items():
        graph.add_edge(row.parent or "plexus", branch)
    movements = [s for s in catalogue().values() if s.answers == "mrc" and s.branches]
    for sign in movements:
        for branch in sign.branches:
            graph.add_edge(branch, f"sign {sign.id}")
    for cut in branches():
        body = Body(1)
        body.take(slice(0, 1), f"branch_motor.{cut}", 0, 1.0)
        without = graph.copy()
        without.remove_node(cut)
        reached = nx.descendants(without, "plexus")
        for sign in movements:
            lost = float(motor_lower(body, sign, 0)[0])
            through = {b for b in sign.branches if cut in ancestry(b)}
            if lost > 0.999:
                assert f"sign {sign.id}" not in reached
            assert (lost > 0) == bool(through)
        assert all(f"sign {s.id}" not in reached for s in movements if set(s.branches) == {cut})


@pytest.mark.parametrize("level", ["C4", "C7", "T2", "T8", "L1"])
def test_cutting_the_cord_takes_control_of_exactly_what_lies_below(level):
    """Cortex to tract to segment to movement as a graph: what a whole cut disconnects loses control."""
    import networkx as nx  # slow to load: not while tests are collected

    body = Body(1)
    body.level[:] = SEGMENTS.index(level)
    for tract in Body.TRACTS:
        for side in (0, 1):
            body.cut(slice(0, 1), tract, side, 1.0)
    graph = nx.DiGraph()
    nx.add_path(graph, ["cortex", *SEGMENTS])
    movements = [
        s
        for s in catalogue().values()
        if s.answers == "mrc" and s.segments and s.limb in ("arm", "leg")
    ]
    for sign in movements:
        for segment in sign.segments:
            graph.add_edge(segment, f"{sign.id} by {segment}")
    cut = SEGMENTS.index(level)
    graph.remove_edge(SEGMENTS[cut], SEGMENTS[cut + 1])
    reached = nx.descendants(graph, "cortex")
    for sign in movements:
        upper = float(upper_motor(body, sign.limb, sign.segments, 0)[0])
        kept = sum(w for s, w in sign.segments.items() if f"{sign.id} by {s}" in reached)
        assert upper == pytest.approx(1 - kept, abs=0.011), sign.id


@pytest.mark.parametrize("root", ["C5", "C6", "C7", "C8", "T1", "L2", "L3", "L4", "L5", "S1"])
def test_cutting_a_root_takes_from_each_movement_just_its_share(root):
    body = Body(1)
    body.take(slice(0, 1), f"ventral.{root}", 0, 1.0)
    for sign in catalogue().values():
        if sign.answers == "mrc" and sign.segments and sign.limb in ("arm", "leg"):
            lost = float(motor_lower(body, sign, 0)[0])
            held = own(sign).get("roots_power", 1.0)
            assert lost == pytest.approx(sign.segments.get(root, 0.0) ** held, abs=1e-6), sign.id
            assert float(motor_lower(body, sign, 1)[0]) == 0.0


def test_the_tables_hold_together():
    check_signs()
    check_lesions()


def test_a_table_fault_names_file_row_and_field(monkeypatch):
    from wardexam import tables
    from wardexam.anatomy import structures
    from wardexam.errors import TableError

    bad = {
        "ulnar": {
            "nerve": "ulnar",
            "name": "x",
            "parent": "",
            "weight": "often",
            "source": "from memory",
        }
    }
    monkeypatch.setattr(tables, "read_table", lambda *_: bad)
    with pytest.raises(TableError) as caught:
        structures.rows("nerves.toml", structures.Branch)
    assert all(w in str(caught.value) for w in ("nerves.toml", "row ulnar", "field weight"))


@pytest.mark.parametrize("side", ["right", "left"])
@pytest.mark.parametrize("power", ["4", "3"])
def test_with_back_pain_and_a_weak_quadriceps_the_roots_lead_plexus_and_nerve(side, power):
    each = "{}/{}".format
    of = {"right": lambda a, b: each(a, b), "left": lambda a, b: each(b, a)}[side]
    line = f"pain=back knee {of('0', '2')} knee_extension {of(power, '5')}"
    reading = ready.engine().read(read_line(line).spelled_out())
    assert (reading.sites[0].region, reading.sites[0].side) == ("root", side)
    chance = {r: sum(s.probability for s in reading.sites if s.region == r) for r in ("root", "plexus", "nerve")}  # fmt: skip
    assert chance["root"] > chance["plexus"] + chance["nerve"]
    told = {e.text for e in reading.supports}
    assert {f"{side} knee 0", "pain: back"} <= told
    assert not any(e.text.startswith(f"{side} knee ") for e in reading.opposes)


def test_an_absent_knee_jerk_speaks_for_the_l4_root_against_the_field_whatever_is_next():
    for line in ("knee 2/0 knee_extension 5/4", "knee 2/0 knee_extension 5/4 ankle_dorsiflexion 5/4", "knee 2/0 knee_extension 5/4 pin_L4 2/1 pain=radiating"):  # fmt: skip
        reading = ready.engine().read(read_line(line).spelled_out())
        assert "left knee 0" in {e.text for e in reading.supports}
        assert "left knee 0" not in {e.text for e in reading.opposes}


@pytest.mark.parametrize(
    "line",
    ["biceps 2/2 brachioradialis 2/2 triceps 2/0 knee 2/2", "knee 2/0 ankle 2/2 plantar flexor/flexor"],
)  # fmt: skip
def test_what_is_out_of_the_usual_stands_before_what_was_found_usual(line):
    supports = ready.engine().read(read_line(line).spelled_out(), silence=False).supports
    odd = [e.text.endswith(" 0") for e in supports]
    assert odd[0]
    assert odd == sorted(odd, reverse=True)


def test_a_word_of_the_story_is_a_reason_by_what_it_makes_of_the_leader():
    plain = ready.engine().read(read_line("ankle 0/0 vibration_leg 1/1 age=60").spelled_out())
    line = "ankle 0/0 vibration_leg 1/1 age=60 onset=longer flag:cancer=no"
    reading = ready.engine().read(read_line(line).spelled_out())
    (told,) = (
        e for e in (*reading.supports, *reading.opposes) if e.text.startswith("when it began")
    )
    before, after = (
        sum(s.probability for s in r.sites if s.id == reading.sites[0].id) for r in (plain, reading)
    )
    assert (told.weight > 0) == (after > before)
    assert not any("cancer" in e.text for e in (*reading.supports, *reading.opposes))


def test_every_word_of_the_story_is_said_also_of_a_flag_that_is_asked_no_more():
    story = Context(age=76, sex="female")
    said = {flag: told_words("flag", flag, story) for flag in every_flag()}
    assert all(text.startswith("yes: ") and len(text) > 8 for text in said.values())
    assert told_words("age", "old", story) == "age 76"
    assert told_words("pain", "back", story) == "pain: back"


@pytest.mark.parametrize(
    "line",
    [
        "onset=longer stocking knee/knee vibration_leg 0/0 position_leg 1/1 knee 3/3 ankle 0/0 plantar extensor/extensor",
        "onset=days power_leg 1/1 level_pin T8/T8 plantar extensor/extensor bladder retention",
        "onset=sudden age=70 face_lower 5/2 power_arm 5/1 power_leg 5/3 neglect present/absent",
        "onset=days ankle 0/0 saddle 0/0 anal_tone reduced bladder retention ankle_plantarflexion 3/3",
        "face_upper 5/2 face_lower 5/2",
    ],
)
def test_no_sign_is_proposed_that_would_leave_all_as_it_is_beside_one_that_would_not(line):
    proposed = ready.engine().read(read_line(line).spelled_out(), silence=False).next_signs
    for sign in proposed if len(proposed) > 1 else ():
        said = [site.rpartition(" ") for _, site in sign.outcomes]
        chances = [int(chance.rstrip("%")) for _, _, chance in said]
        row = weighing_row("next_sign")
        apart = max(chances) - min(chances) >= row["moves"] or min(chances) < row["sure"]
        assert sign.urgent or apart or len({place for place, _, _ in said}) > 1, sign


def test_after_one_lost_jerk_there_is_a_next_sign():
    for line in ("biceps 2/2 triceps 2/2 knee 0/-", "triceps 2/0", "ankle 0/2", "knee 3/3"):
        assert ready.engine().read(read_line(line).spelled_out(), silence=False).next_signs
