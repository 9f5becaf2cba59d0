"""Draw patients from the model and see whether its answers mean what they say: `python -m tests.bench.simulate`.

Prints a reliability curve with its expected calibration error, how often one and two lesions are told
apart, how many signs the proposed order saves over the grid's, and how much earlier by it the rules call an
emergency one. Seeded: the same figures each time.
"""

import sys
from dataclasses import dataclass
from unittest.mock import patch

import numpy as np

from tests.handbook.fit import WEIGHED
from tests.handbook.rule_samples import level_of
from wardexam import ready
from wardexam.anatomy.catalogue import Sign, catalogue
from wardexam.exam.examination import Context, Findings
from wardexam.exam.findings import sides_of
from wardexam.exam.seconds import seconds
from wardexam.exam.sheet import Sheet, SheetFinding
from wardexam.reasoning.engine import Engine
from wardexam.reasoning.inference import evidence
from wardexam.reasoning.inference.greatest import most_likely
from wardexam.reasoning.inference.next_sign import askable, of_head
from wardexam.reasoning.inference.posterior import answered_yes
from wardexam.reasoning.inference.prior import Priors, learned, sites
from wardexam.reasoning.inference.two_lesions import union
from wardexam.reasoning.model import observation
from wardexam.reasoning.model.codes import BRISK_WEIGHTS
from wardexam.reasoning.model.hypotheses import Hypotheses
from wardexam.reasoning.reading import Reading
from wardexam.reasoning.tables import read

SURE = 0.9
MOST = 60  # signs asked before giving up
SAME_DAY = 2  # the level of urgency
# A grade of the conventional scale for each meaning of the model's table.
GRADES = {"absent": "0", "reduced": "1+", "normal": "2+", "brisk": "3+", "clonic": "4+"}
RESIDUAL = read("inference/next_sign.toml")["residual"]


@dataclass(frozen=True)
class Drawn:
    """A patient: the row or rows that are so, and how brisk."""

    rows: tuple[int, ...]
    brisk: int


class Ward:
    """Patients drawn from the prior, and what they show."""

    def __init__(self, seed: int) -> None:
        self.engine: Engine = ready.engine()
        self.made: Hypotheses = self.engine.hypotheses
        self.random = np.random.default_rng(seed)
        # By draw, so that a seed gives the same patients however draws are held in rows.
        # Nothing is told of them but what a sheet without a sign that supports a kind of no lesion tells.
        unsupported = answered_yes(Sheet().spelled_out())
        by_row = np.exp(Priors(self.made).of_rows(Context(), unsupported)) / self.made.draws
        self.prior = by_row[self.made.row_of]
        self.signs = [(s, side) for s in askable() for side in sides_of(s)]

    def draw(self, lesions: int = 1) -> Drawn:
        """A patient with so many lesions, none of them `none` where there are two."""
        while True:
            drawn = self.random.choice(len(self.prior), lesions, p=self.prior)
            rows = tuple(self.made.row_of[drawn].tolist())
            groups = {self.made.groups[self.made.group_of[r]] for r in rows}
            if lesions == 1 or (len(groups) == lesions and "none" not in groups):
                return Drawn(rows, int(self.random.choice(3, p=BRISK_WEIGHTS)))

    def shows(self, patient: Drawn, sign: Sign, side: str) -> dict[str, object]:
        """What the patient shows for a sign: an entry of a sheet."""
        codes = [int(self.made.code(sign.id, side)[row]) for row in patient.rows]
        code = codes[0] if len(codes) == 1 else int(union()[codes[0], codes[1]])
        table = observation.observed(sign, Context())
        chance = table.chance[code, :, patient.brisk]
        answer = table.answers[int(self.random.choice(len(chance), p=chance / chance.sum()))]
        entry: dict[str, object] = {"sign": sign.id, "side": side, "answer": answer}
        if sign.answers == "tendon":
            entry["answer"] = GRADES[answer]
        if sign.answers == "residual":
            entry |= {"answer": "measured", "amount": RESIDUAL[answer]}
        return entry

    def examination(self, found: list[dict[str, object]]) -> Findings:
        """The entries as an examination."""
        return Sheet(findings=tuple(SheetFinding.model_validate(f) for f in found)).spelled_out()

    def some(self, patient: Drawn, count: int) -> Findings:
        """So many signs, chosen by chance, of a patient."""
        picked = self.random.choice(len(self.signs), count, replace=False)
        return self.examination([self.shows(patient, *self.signs[n]) for n in picked])

    def leading(self, examination: Findings) -> tuple[str, float]:
        """The group that the engine puts first, and its chance by the model; of equal ones the first by name.

        What is told is tempered to real patients (`tests.handbook.calibrate`); drawn ones are as the model has them.
        """
        chances = self.engine.posterior(examination, silence=False).plain
        first = min(most_likely(chances), key=self.made.groups.__getitem__)
        return self.made.groups[first], float(chances[first])

    def right(self, patient: Drawn) -> str:
        """The group that is right."""
        return self.made.groups[self.made.group_of[patient.rows[0]]]


def reliability(patients: int, seed: int = 1) -> tuple[list[tuple[float, float, int]], float]:
    """Stated against true share by tenth, and the expected calibration error of the first site.

    Every part weighs as much as the model has it, and sides are drawn apart: what published cases taught, and that sides
    of one person are alike, is of real patients, not of drawn ones.
    """
    ward = Ward(seed)
    stated, true = [], []
    with (
        patch.dict(learned(), part=dict.fromkeys(WEIGHED, 1.0)),
        patch.object(evidence, "contrasts", return_value={}),
    ):
        for _ in range(patients):
            patient = ward.draw()
            examination = ward.some(patient, int(ward.random.integers(4, 40)))
            group, chance = ward.leading(examination)
            stated.append(chance)
            true.append(group == ward.right(patient))
    said, so = np.array(stated), np.array(true, float)
    bins = np.minimum((said * 10).astype(int), 9)
    curve, error = [], 0.0
    for b in range(10):
        own = bins == b
        if own.any():
            curve.append((float(said[own].mean()), float(so[own].mean()), int(own.sum())))
            error += own.mean() * abs(said[own].mean() - so[own].mean())
    return curve, float(error)


Grid = list[tuple[Sign, str]]


def proposed_of(reading: Reading, examination: Findings, grid: Grid) -> tuple[str, str]:
    """The sign that is proposed; the grid's next where none is said to tell anything more."""
    if reading.next_signs:
        return reading.next_signs[0].key
    known = {f.key for f in examination.findings}
    return next((s.id, side) for s, side in grid if (s.id, side) not in known)


def saving(patients: int, seed: int = 2) -> tuple[float, float, int]:
    """Median signs until the right site is sure, in the proposed order and in the grid's, and how many."""
    ward = Ward(seed)
    grid = [
        (s, side)
        for s in catalogue().values()
        if s in askable() and s.id not in of_head()
        for side in sides_of(s)
    ]
    asked, fixed = [], []
    for _ in range(patients):
        patient = ward.draw()
        for counts, proposed in ((asked, True), (fixed, False)):
            found: list[dict[str, object]] = []
            while len(found) < MOST:
                examination = ward.examination(found)
                reading = ward.engine.read(examination, silence=False) if proposed else None
                if reading:
                    group, chance = reading.sites[0].id, reading.sites[0].probability
                else:
                    group, chance = ward.leading(examination)
                if found and group == ward.right(patient) and chance >= SURE:
                    break
                if reading:
                    sign, side = proposed_of(reading, examination, grid)
                else:
                    sign, side = grid[len(found)][0].id, grid[len(found)][1]
                found.append(ward.shows(patient, catalogue()[sign], side))
            counts.append(len(found))
    reached = [n for n, (a, f) in enumerate(zip(asked, fixed, strict=True)) if min(a, f) < MOST]
    return (
        float(np.mean([asked[n] for n in reached])),
        float(np.mean([fixed[n] for n in reached])),
        len(reached),
    )


@dataclass(frozen=True)
class Recognised:
    """How soon the rules call the urgency of those who have an urgent place, by the proposed order and by the grid's.

    Attributes:
        patients: In whom the rules call it by any order within `MOST` signs.
        proposed: Mean seconds of examining until then by the proposed order; one never reached counts all its signs.
        grid: The same by the grid's.
        sooner: Share of them in whom the proposed order is the sooner.
        missed: How many the proposed order never reached, and the grid's.
    """

    patients: int
    proposed: float
    grid: float
    sooner: float
    missed: tuple[int, int]


def recognised(patients: int, seed: int = 4) -> Recognised:
    """How soon an emergency is recognised: same-day or more by the rules, the onset being days."""
    ward = Ward(seed)
    grid = [
        (s, side)
        for s in catalogue().values()
        if s in askable() and s.id not in of_head()
        for side in sides_of(s)
    ]
    story = Context(onset="days")
    taken: list[tuple[tuple[float, bool], tuple[float, bool]]] = []
    while len(taken) < patients:
        patient = ward.draw()
        if not sites()[ward.made.forms[ward.made.form_of[patient.rows[0]]].site]["urgent"]:
            continue
        both = []
        for proposed in (True, False):
            found: list[dict[str, object]] = []
            spent, reached = 0.0, False
            while len(found) < MOST and not reached:
                now = ward.examination(found).model_copy(update={"context": story})
                if proposed:
                    sign, side = proposed_of(ward.engine.read(now, silence=False), now, grid)
                else:
                    sign, side = grid[len(found)][0].id, grid[len(found)][1]
                found.append(ward.shows(patient, catalogue()[sign], side))
                spent += seconds(sign)
                now = ward.examination(found).model_copy(update={"context": story})
                reached = level_of(now) >= SAME_DAY
            both.append((spent, reached))
        taken.append((both[0], both[1]))
    called = [t for t in taken if t[0][1] or t[1][1]]
    return Recognised(
        len(called),
        float(np.mean([p[0] for p, _ in called])),
        float(np.mean([g[0] for _, g in called])),
        float(np.mean([p[1] and (not g[1] or p[0] < g[0]) for p, g in called])),
        (sum(not p[1] for p, _ in called), sum(not g[1] for _, g in called)),
    )


@dataclass(frozen=True)
class Fit:
    """How one or two lesions fit: the z's mean and spread, shares said not to fit and to be two."""

    mean: float
    spread: float
    misfit: float
    two: float


def fit(lesions: int, patients: int, seed: int = 3) -> Fit:
    """How well one lesion is said to fit patients with so many, 40 signs each."""
    ward = Ward(seed)
    readings = [
        ward.engine.read(ward.some(ward.draw(lesions), 40), silence=False) for _ in range(patients)
    ]
    z = np.array([r.fit for r in readings], float)
    return Fit(
        float(z.mean()),
        float(z.std()),
        float(np.mean([not r.fits_one for r in readings])),
        float(np.mean([r.pair is not None for r in readings])),
    )


def main(patients: int) -> None:
    curve, error = reliability(patients)
    print(f"reliability of the first site, {patients} drawn patients, 4 to 39 signs each")
    print("  stated   true  patients")
    for said, so, count in curve:
        print(f"  {said:6.2f} {so:6.2f} {count:9}")
    print(f"  expected calibration error {error:.3f} (wanted: under 0.05)")
    asked, fixed, reached = saving(max(20, patients // 20))
    print(
        f"signs until the right site is {SURE:.0%} sure, mean of {reached} patients in whom either order "
        f"reaches it within {MOST}: proposed {asked:.1f}, grid {fixed:.1f}, "
        f"{1 - asked / fixed:.0%} fewer (wanted: 40 %)"
    )
    r = recognised(max(20, patients // 20))
    print(
        f"seconds until the rules call an urgent place same-day, mean of {r.patients}: proposed {r.proposed:.0f}, "
        f"grid {r.grid:.0f}; sooner by the proposed order in {r.sooner:.0%}; never within {MOST} signs: "
        f"{r.missed[0]} and {r.missed[1]}"
    )
    print(
        "40 signs each      z: mean  spread   'does not fit one lesion'   'two lesions fit as well'"
    )
    for lesions in (1, 2):
        f = fit(lesions, max(40, patients // 5))
        print(f"  lesions: {lesions} {f.mean:14.2f} {f.spread:7.2f} {f.misfit:20.1%} {f.two:27.1%}")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1000)
