"""Bayes backwards: from the findings entered so far to a `Reading`.

The arrays are made once: a code for every sign, side and row. A finding then costs one look-up in a
short table. Silence and statements are weighed apart and never reach red flags or urgency.
"""

import tomllib
from collections import Counter
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from wardexam.anatomy.catalogue import SEGMENTS, Sign, catalogue
from wardexam.exam.examination import Context, Examination
from wardexam.exam.findings import Finding
from wardexam.reasoning import forward, outcomes
from wardexam.reasoning.asymmetry import asymmetries, level_note
from wardexam.reasoning.forms import PAIRS, Form
from wardexam.reasoning.lesions import plan
from wardexam.reasoning.reading import (
    Evidence,
    NextSign,
    Reading,
    Site,
    SiteSide,
    Word,
)

Rows = NDArray[np.float32]  # log-likelihood, shape (rows, 3 briskness)
Key = tuple[str, str]
Kind = Literal["finding", "stated", "silence"]

# How likely each stage of an upper motor lesion is, by onset (judgement): shock, early, established.
STAGE_BY_ONSET = {
    "sudden": (0.12, 0.45, 0.43), "hours": (0.15, 0.5, 0.35), "days": (0.06, 0.3, 0.64),
    "weeks": (0.02, 0.06, 0.92), "longer": (0.003, 0.017, 0.98), "unknown": (0.06, 0.18, 0.76),
}  # fmt: skip


@cache
def sites() -> dict[str, dict[str, Any]]:
    """The sites with their priors, by id."""
    text = (files("wardexam.reasoning") / "sites.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def word(probability: float) -> Word:
    """A probability as a word."""
    if probability >= 0.8:
        return "very likely"
    return "likely" if probability >= 0.5 else "possible" if probability >= 0.1 else "unlikely"


@dataclass(slots=True)
class _Term:
    """The weight of one finding, statement or silence, shape (rows, 3)."""

    key: Key
    kind: Kind
    text: str
    value: Rows


def _logsumexp(values: NDArray[np.float64], axis: int) -> NDArray[np.float64]:
    top = values.max(axis=axis, keepdims=True)
    return np.asarray(np.log(np.exp(values - top).sum(axis=axis)) + top.squeeze(axis))


def _normalised(log: NDArray[np.float64]) -> NDArray[np.float64]:
    total = np.exp(log - log.max())
    return np.asarray(total / total.sum())


def finding_text(finding: Finding) -> str:
    """A finding in words, e.g. ``"left knee 0"``."""
    side = "" if finding.side == "midline" else f"{finding.side} "
    shown = finding.choice.words if finding.choice else str(finding.answer)
    if finding.scale:
        shown = str(finding.answer)
    elif finding.row.answers == "level" and finding.answer != "none":
        shown = f"reduced below {finding.answer}"
    elif finding.amount is not None:
        shown += f" {finding.amount}"
    return f"{side}{finding.row.name} {shown}"


class Engine:
    """The arrays and a cache of what each finding weighs; one for a process."""

    def __init__(self) -> None:
        made = plan()
        body = made.body()
        self.forms: list[Form] = made.forms
        self.rows = made.rows
        self.form_of = np.repeat(
            np.arange(len(self.forms)), [f.rows.stop - f.rows.start for f in self.forms]
        )
        self.stage = np.full(self.rows, 2, np.uint16)
        for form in self.forms:
            if form.upper:
                self.stage[form.rows] = np.repeat(np.arange(3, dtype=np.uint16), 2 * PAIRS)
        self.codes: dict[Key, NDArray[np.uint16]] = {}
        for sign in catalogue().values():
            for side, number in forward.sides(sign):
                self.codes[sign.id, side] = self._code(body, sign, number)
        self.groups = sorted({f.group for f in self.forms})
        index = {g: n for n, g in enumerate(self.groups)}
        self.group_of = np.array([index[f.group] for f in self.forms])[self.form_of]
        self._terms: dict[tuple[Any, ...], Rows] = {}
        self._priors: dict[Context, NDArray[np.float64]] = {}

    def _code(self, body: Any, sign: Sign, side: int) -> NDArray[np.uint16]:
        if sign.answers == "level":
            return outcomes.level_code(*forward.level_of(body, sign.modality, side))
        lower, upper = forward.paths(body, sign, side)
        if sign.answers == "gait":
            lower = outcomes.GAIT_CODES[lower.astype(int)]
        return outcomes.encode(lower, upper, self.stage)

    def prior(self, context: Context) -> NDArray[np.float64]:
        """Log prior of every row, its site's mass shared among its forms."""
        if context not in self._priors:
            stages = np.array(STAGE_BY_ONSET[context.onset])
            mass = np.zeros(self.rows)
            total = dict.fromkeys((f.site for f in self.forms), 0.0)
            for form in self.forms:
                total[form.site] += form.weight
            for form in self.forms:
                site = sites()[form.site]
                share = (
                    site["prior"]
                    * site["onset"].get(context.onset, 1.0)
                    * form.weight
                    / total[form.site]
                )
                share *= _context_factor(form, context)
                if form.upper:
                    mass[form.rows] = share * np.repeat(stages, 2 * PAIRS) / (2 * PAIRS)
                else:
                    mass[form.rows] = share / (2 * PAIRS)
            self._priors[context] = np.log(mass / mass.sum())
        return self._priors[context]

    def _term(self, finding: Finding, context: Context) -> Rows:
        key = (
            finding.sign,
            finding.side,
            finding.answer,
            finding.scale,
            finding.qualities,
            finding.amount,
            context.age,
            context.onset,
        )
        if key not in self._terms:
            if len(self._terms) > 1500:
                self._terms.clear()
            chance = outcomes.likelihood(finding.row, finding, context)
            table = np.log(np.maximum(chance, 1e-9)).astype(np.float32)
            self._terms[key] = table[self.codes[finding.key]]
        return self._terms[key]

    def _usual(self, sign: Sign, side: str, context: Context) -> Rows:
        key = ("usual", sign.id, side, context.age, context.onset)
        if key not in self._terms:
            made = (
                outcomes.level_table() if sign.answers == "level" else outcomes.table(sign, context)
            )
            wanted = [made.answers.index(a) for a in outcomes.usual_answers(sign)]
            chance = made.chance[:, wanted, :].sum(axis=1)
            self._terms[key] = np.log(chance).astype(np.float32)[self.codes[sign.id, side]]
        return self._terms[key]

    def terms(self, examination: Examination, *, silence: bool) -> list[_Term]:
        """Every weight that enters: findings (repeats tempered), statements and silence."""
        weight = outcomes.numbers()["weight"]
        context = examination.context
        graded = [f for f in examination.findings if f.answer is not None]
        repeats: Counter[tuple[str, ...]] = Counter(_repeat_key(f) for f in graded)
        found = []
        for finding in sorted(graded, key=lambda f: f.key):
            count = repeats[_repeat_key(finding)]
            value = self._term(finding, context) * np.float32(count ** (weight["repeats"] - 1))
            found.append(_Term(finding.key, "finding", finding_text(finding), value))
        touched = Counter((f.row.part, _limb_side(f.row, f.side)) for f in graded)
        recorded = {f.key for f in examination.findings}
        unsaid: dict[tuple[Kind, str, str], list[tuple[Sign, str]]] = {}
        for sign in catalogue().values():
            for side, _ in forward.sides(sign):
                if (sign.id, side) in recorded:
                    continue
                limb = _limb_side(sign, side)
                if any(s.covers(sign, side) for s in examination.rest_normal):  # type: ignore[arg-type]  # a side by name
                    unsaid.setdefault(("stated", sign.part, limb), []).append((sign, side))
                elif (
                    silence
                    and touched[sign.part, limb]
                    and sign.answers not in ("level", "bladder", "bowel", "residual")
                ):
                    unsaid.setdefault(("silence", sign.part, limb), []).append((sign, side))
        for (kind, part, limb), signs in unsaid.items():
            factor = len(signs) ** (weight["repeats"] - 1)
            value = np.zeros((self.rows, 3), np.float32)
            for sign, side in signs:
                usual = self._usual(sign, side, context)
                if kind == "silence":
                    usual = weight["silence"] * np.maximum(usual, -weight["silence_most"])
                value += usual
            text = f"rest of {limb} {part} " + (
                "stated normal" if kind == "stated" else "not recorded"
            )
            found.append(_Term((part, limb), kind, text, value * np.float32(factor)))
        return found

    def posterior(
        self, examination: Examination, *, silence: bool = True
    ) -> tuple[NDArray[np.float64], list[_Term]]:
        """Probability of every row and briskness, shape (rows, 3), and the terms behind it."""
        log, terms = self._log_joint(examination, silence=silence)
        return _normalised(log), terms

    def _log_joint(
        self, examination: Examination, *, silence: bool
    ) -> tuple[NDArray[np.float64], list[_Term]]:
        """Log of prior times likelihood, shape (rows, 3), and the terms it is the sum of."""
        terms = self.terms(examination, silence=silence)
        total = self.prior(examination.context)[:, None] + np.log(outcomes.BRISK_WEIGHTS)[None, :]
        for term in terms:
            total = total + term.value
        return total, terms

    def ranked(self, rows: NDArray[np.float64]) -> tuple[Site, ...]:
        """The sites of a posterior over rows, most probable first."""
        mass = np.bincount(self.group_of, rows, len(self.groups)).astype(float)
        forms = np.bincount(self.form_of, rows, len(self.forms)).astype(float)
        found: list[Site] = []
        for number in np.argsort(-mass, kind="stable"):
            if mass[number] < 1e-4 and len(found) >= 6:
                break
            members = [n for n, f in enumerate(self.forms) if f.group == self.groups[number]]
            found.append(self._site(members, forms, float(mass[number])))
        rest = 1 - sum(s.probability for s in found)
        if rest > 1e-12:
            found.append(
                Site("other", "other", "other sites together", "none", None, None, rest, word(rest))
            )
        return tuple(found)

    def _site(self, members: list[int], forms: NDArray[np.float64], mass: float) -> Site:
        best = self.forms[max(members, key=lambda n: forms[n])]
        by_side: Counter[str] = Counter()
        for n in members:
            by_side[self.forms[n].side] += forms[n]
        side: SiteSide = by_side.most_common(1)[0][0]  # type: ignore[assignment]  # sides are those of SiteSide
        level = levels = None
        if best.level is not None and mass > 0:
            held = np.zeros(len(SEGMENTS))
            for n in members:
                at = self.forms[n].level
                if at is not None:
                    held[at] += forms[n]
            # The level of the signs and that of the lesion differ by a segment now and then (judgement).
            held = np.convolve(held / held.sum(), (0.2, 0.6, 0.2), "same")
            low, high = shortest(held / held.sum(), 0.9)
            level, levels = SEGMENTS[int(held.argmax())], (SEGMENTS[low], SEGMENTS[high])
        name = best.name
        if best.site in ("root", "nerve", "plexus", "brain", "brainstem", "cerebellum"):
            where = "" if side in ("both", "none") else f"{side} "
            name = (
                f"{where}{level} {name}"
                if best.site == "root" and best.name == "root"
                else f"{where}{name}"
            )
        elif best.site in ("cord", "conus", "cauda"):
            if side in ("right", "left"):
                name = f"{name.replace(', one side', '').replace(', from one side', '')}, {side}"
            name = f"{name}, about {level}" if best.site == "cord" else name
        row = sites()[best.site]
        return Site(
            best.group, best.site, name, side, levels, level, mass, word(mass), bool(row["urgent"])
        )

    def read(self, examination: Examination, *, silence: bool = True) -> Reading:
        """Everything inferred from an examination; nothing entered gives the prior."""
        log, terms = self._log_joint(examination, silence=silence)
        chance = _normalised(log)
        rows = chance.sum(axis=1)
        ranked = self.ranked(rows)
        entered = sum(1 for t in terms if t.kind == "finding")
        evidence = self._evidence(ranked, log, terms)
        top = ranked[0]
        unexplained, fit = self._fit(top, rows, terms, examination)
        return Reading(
            sites=ranked,
            supports=tuple(e for e in evidence if e.weight > 0.1)[:6],
            opposes=tuple(e for e in reversed(evidence) if e.weight < -0.1)[:6],
            unexplained=unexplained,
            fit=fit,
            fits_one=fit is None or fit > -2.0,
            next_signs=self._next(
                examination, chance, recorded={f.key for f in examination.findings}
            ),
            asymmetries=asymmetries(examination),
            level_note=level_note(examination),
            entered=entered,
        )

    def _evidence(
        self, ranked: tuple[Site, ...], log: NDArray[np.float64], terms: list[_Term]
    ) -> list[Evidence]:
        """Weights by leaving one out: how far each term moves top against runner-up, in bans."""
        if len(ranked) < 2 or not terms:
            return []
        keep = [
            np.flatnonzero(self.group_of == self.groups.index(s.id))
            for s in ranked[:2]
            if s.id in self.groups
        ]
        if len(keep) < 2:
            return []
        parts = [log[k].ravel() for k in keep]
        whole = _logsumexp(parts[0], 0) - _logsumexp(parts[1], 0)
        found = []
        for term in terms:
            one, other = (p - term.value[k].ravel() for p, k in zip(parts, keep, strict=True))
            weight = float(whole - (_logsumexp(one, 0) - _logsumexp(other, 0))) / np.log(10)
            found.append(Evidence(term.key, term.text, float(weight), term.kind))
        return sorted(found, key=lambda e: -e.weight)

    def _fit(
        self, top: Site, rows: NDArray[np.float64], terms: list[_Term], examination: Examination
    ) -> tuple[tuple[str, ...], float | None]:
        """Findings the best rows of the top site do not expect, and how well it fits as a z score.

        The z compares the log-likelihood with its mean and spread under the winner itself.
        """
        if top.id not in self.groups:
            return (), None
        members = np.flatnonzero(self.group_of == self.groups.index(top.id))
        best = members[np.argsort(-rows[members])[:40]]
        weights = (
            rows[best] / rows[best].sum()
            if rows[best].sum() > 0
            else np.full(len(best), 1 / len(best))
        )
        surprise, mean, variance = [], 0.0, 0.0
        for finding in examination.findings:
            if finding.answer is None or finding.row.answers == "level":
                continue
            made = outcomes.table(finding.row, examination.context).chance[:, :, 1]
            expected = weights @ made[self.codes[finding.key][best]]
            log = np.log(expected)
            own = float(
                np.log(
                    max(1e-9, weights @ np.exp(self._term(finding, examination.context)[best, 1]))
                )
            )
            count = sum(
                1
                for f in examination.findings
                if f.answer is not None and _repeat_key(f) == _repeat_key(finding)
            )
            scale = count ** (outcomes.numbers()["weight"]["repeats"] - 1)
            entropy = float((expected * log).sum())
            mean += scale * (own - entropy)
            variance += scale * float((expected * log**2).sum() - entropy**2)
            if own < np.log(0.12) and own < log.max() - 1.2:
                surprise.append((own, finding_text(finding)))
        if not surprise and variance == 0:
            return (), None
        z = mean / np.sqrt(variance) if variance > 0 else 0.0
        return tuple(text for _, text in sorted(surprise)[:4]), float(z) if len(
            terms
        ) >= 3 else None

    def _next(
        self, examination: Examination, chance: NDArray[np.float64], recorded: set[Any]
    ) -> tuple[NextSign, ...]:
        """Unexamined bedside signs by expected information about the site."""
        rows = chance.sum(axis=1)
        kept = np.sort(np.argsort(-rows, kind="stable")[:350])
        weight = chance[kept] / chance[kept].sum()
        groups, member = np.unique(self.group_of[kept], return_inverse=True)
        onehot = np.zeros((len(groups), len(kept)))
        onehot[member, np.arange(len(kept))] = 1
        # Site by (row, briskness), so that one product gives site by answer.
        mixed = (onehot[:, :, None] * weight[None]).reshape(len(groups), -1)
        prior = mixed.sum(axis=1)
        before = _entropy(prior)
        found = []
        for sign in _askable():
            for side, _ in forward.sides(sign):
                if (sign.id, side) in recorded:
                    continue
                made = outcomes.table(sign, examination.context)
                shown = made.chance[self.codes[sign.id, side][kept]]
                joint = mixed @ shown.transpose(0, 2, 1).reshape(-1, shown.shape[1])
                # Information is the entropy of the site less its mean once the answer is known.
                known = _entropy(joint) - _entropy(joint.sum(axis=0))
                bits = (before - known) / np.log(2)
                found.append((bits, sign, side, made.answers, joint))
        found.sort(key=lambda f: (-f[0], f[1].id, f[2]))
        return tuple(self._next_sign(*f, groups=groups, prior=prior) for f in found[:5])

    def _next_sign(
        self,
        bits: float,
        sign: Sign,
        side: str,
        answers: tuple[str, ...],
        joint: NDArray[np.float64],
        *,
        groups: NDArray[np.int64],
        prior: NDArray[np.float64],
    ) -> NextSign:
        chances = joint.sum(axis=0)
        meanings = []
        for number in np.argsort(-chances)[:3]:
            posterior = joint[:, number] / chances[number]
            top = int(posterior.argmax())
            group = self.groups[groups[top]].replace(".", " ").replace("_", " ")
            meanings.append((answers[number], f"{group} {posterior[top]:.0%}"))
        text = sign.name if side == "midline" else f"{side} {sign.name}"
        return NextSign((sign.id, side), text, bits, tuple(meanings))


def _entropy(p: NDArray[np.float64]) -> float:
    held = p[p > 0]
    return float(-(held * np.log(held)).sum())


@cache
def _askable() -> tuple[Sign, ...]:
    """Signs worth proposing: what a ward doctor can do at once."""
    parts = ("reflexes", "power", "movement", "sphincters", "provocation")
    more = {
        "vibration_leg",
        "position_leg",
        "saddle",
        "face_lower",
        "aphasia",
        "fatigability",
        "fasciculation_arm",
        "fasciculation_leg",
    }
    more |= {
        f"pin_{s}"
        for s in ("C5", "C6", "C7", "C8", "T1", "T4", "T10", "L2", "L3", "L4", "L5", "S1")
    }
    more |= {s for s in catalogue() if s.startswith("territory_")}
    return tuple(s for s in catalogue().values() if s.part in parts or s.id in more)


def shortest(mass: NDArray[np.float64], held: float) -> tuple[int, int]:
    """First and last index of the shortest run that holds so much of the mass."""
    total = np.concatenate([[0.0], np.cumsum(mass)])
    for length in range(1, len(mass) + 1):
        run = total[length:] - total[:-length]
        if run.max() >= held - 1e-9:
            return int(run.argmax()), int(run.argmax()) + length - 1
    return 0, len(mass) - 1


def _limb_side(sign: Sign, side: str) -> str:
    return (
        sign.limb
        if sign.limb in ("head", "trunk", "saddle") or side == "midline"
        else f"{side} {sign.limb}"
    )


def _repeat_key(finding: Finding) -> tuple[str, ...]:
    """What makes two findings one general statement: limb, part, kind and the same answer."""
    row = finding.row
    return row.part, _limb_side(row, finding.side), row.answers, row.modality, str(finding.answer)


def _context_factor(form: Form, context: Context) -> float:
    """How pain and trauma shift the forms (judgement)."""
    factor = 1.0
    if context.pain in ("back", "radiating", "neck") and form.site in (
        "root",
        "cauda",
        "cord",
        "conus",
    ):
        factor *= 1.6 if form.site in ("root", "cauda") else 1.2
    if context.trauma == "yes" and form.site in ("cord", "plexus", "nerve", "conus"):
        factor *= 1.6
    if context.age is not None and context.age > 60 and form.site in ("brain", "brainstem"):
        factor *= 1.2
    return factor


@cache
def load() -> Engine:
    """The engine, made once for a process."""
    return Engine()
