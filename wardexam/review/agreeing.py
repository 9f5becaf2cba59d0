"""How well two doctors agree: over the ward by sign, and side by side for one patient."""

import textwrap
from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

from wardexam.anatomy.catalogue import catalogue
from wardexam.exam.answers import SCALES, scales
from wardexam.exam.examination import Examination, Patient
from wardexam.exam.findings import Finding, sides_of
from wardexam.exam.text import clean, counted, cut
from wardexam.exam.wording import narrow
from wardexam.review.counting import Period
from wardexam.review.kappa import Agreement, Pair, agreement
from wardexam.review.pairing import Pairs, order_of, places
from wardexam.review.paper import period_words
from wardexam.review.published import Published, published
from wardexam.review.standards import standards
from wardexam.review.table import line, number

WIDTH = 80
EXACT = 1e-9  # how near a kappa is to a whole number that it is one
BESIDE = 2  # published figures that a line has room for


@dataclass(frozen=True, slots=True)
class SignAgreement:
    """The agreement on one sign, graded on one scale; `ordered` is whether its weights are quadratic."""

    sign: str
    scale: str
    ordered: bool
    found: Agreement

    @property
    def name(self) -> str:
        """The sign in words, with the scale where it is not the usual one."""
        name = catalogue()[self.sign].name
        scale = self.scale and self.scale != SCALES[0]
        return f"{name}, {scales()[self.scale].name}" if scale else name  # type: ignore[index]


@dataclass(frozen=True, slots=True)
class WardAgreement:
    """The agreement of two doctors over a ward; nobody is named.

    Attributes:
        period: Of when.
        hours: How far apart the examinations of a pair are at most.
        signs: By sign, those with the most pairs first.
        pairs: How many pairs of examinations.
        patients: Of how many patients.
        changed: Pairs left out, since a change was recorded at the second.
        apart: Pairs left out, being further apart.
        not_asked: Pairs that count though nobody answered at the second whether anything was worse.
        left_out: How many pairs of findings were left out, by sign and scale, by why.
        unread: Patients whose record could not be read.
    """

    period: Period
    hours: float
    signs: tuple[SignAgreement, ...]
    pairs: int
    patients: int
    changed: int
    apart: int
    not_asked: int
    left_out: dict[tuple[str, str], Counter[str]]
    unread: int = 0


def ward_agreement(
    found: Iterable[Pairs], period: Period, hours: float, unread: int = 0
) -> WardAgreement:
    """The agreement by sign, over the pairs of every patient."""
    by_sign: dict[tuple[str, str], list[list[Pair]]] = defaultdict(list)
    left_out: dict[tuple[str, str], Counter[str]] = defaultdict(Counter)
    pairs = patients = changed = apart = not_asked = 0
    for own in found:
        pairs, patients = pairs + len(own.pairs), patients + bool(own.pairs)
        changed, apart = changed + own.changed, apart + own.apart
        of_patient: dict[tuple[str, str], list[Pair]] = defaultdict(list)
        for paired in own.pairs:
            not_asked += not paired.asked
            for (sign, scale, _), why in paired.left_out.items():
                left_out[sign, scale][why] += 1
            for (sign, scale, _), pair in paired.answers.items():
                of_patient[sign, scale].append(pair)
        for key, answers in of_patient.items():
            by_sign[key].append(answers)
    made = []
    for (sign, scale), each in by_sign.items():
        ordered = order_of(sign, scale or None).ordered
        made.append(SignAgreement(sign, scale, ordered, agreement(each, ordered=ordered)))
    order = [*catalogue()]
    made.sort(key=lambda s: (-s.found.pairs, order.index(s.sign), s.scale))
    return WardAgreement(
        period,
        hours,
        tuple(made),
        pairs,
        patients,
        changed,
        apart,
        not_asked,
        dict(left_out),
        unread,
    )


def _beside(sign: str) -> list[tuple[str, Published]]:
    return [(name, row) for name, row in published().items() if row.of(sign)]


def ward_paper(ward: WardAgreement) -> str:
    """The agreement over the ward, with the published figures beside it, in lines of at most 80 columns."""
    few = standards().few
    head = (
        f"{counted(ward.pairs, 'pair')} of examinations of {counted(ward.patients, 'patient')}: one after the other, by two "
        f"doctors, at most {ward.hours:g} h apart, no change recorded: 'anything worse' was answered no at the second in "
        f"{ward.pairs - ward.not_asked} of them and was not asked in {ward.not_asked}, where a change is not excluded. "
        f"Left out: {ward.apart} further apart, {ward.changed} with a change, "
        f"{counted(ward.unread, 'patient')} whose record cannot be read. "
        "Kappa with quadratic weights by the answer's order, in which an answer that has no place in it (a mute plantar) "
        "makes no pair; u: unweighted, where answers have no order at all. 95 % interval by "
        "leaving out one patient at a time; too few: patients or differences, so that none can be told. The second doctor saw the first one's grades: these figures flatter. "
        "Nobody is named or ranked."
    )
    lines = [
        f"Agreement of two doctors, {period_words(ward.period)}",
        *textwrap.wrap(head, WIDTH - 1),
        "",
        f"{'sign':<28} {'pairs':>5} {'same':>5}  {'kappa, 95 % interval':<24} published",
    ]
    letters: dict[str, str] = {}
    for each in ward.signs:
        beside = []
        for name, row in _beside(each.sign):
            letter = letters.setdefault(name, "abcdefghijklmnopqrstuvwxyz"[len(letters) % 26])
            beside.append(f"{row.kappa:.2f}{letter}")
        lines.append(_sign_line(each, " ".join(beside[:BESIDE]), few))
        lines += [
            f"{'':<66} {' '.join(beside[more : more + BESIDE])}"
            for more in range(BESIDE, len(beside), BESIDE)
        ]
    if not ward.signs:
        lines.append("  no sign was graded by both")
    lines += _left_out(ward)
    if any(s.found.pairs < few for s in ward.signs):
        lines.append(f"(!) under {few} pairs: too few to say much")
    for name, letter in letters.items():
        lines += textwrap.wrap(
            f"{letter}  {published()[name].source}", WIDTH - 1, subsequent_indent="   "
        )
    return "\n".join(line.rstrip() for line in lines) + "\n"


def _left_out(ward: WardAgreement) -> list[str]:
    """The pairs of findings that were left out, in lines: how many, of which sign and why."""
    found: dict[str, Counter[str]] = defaultdict(Counter)
    for (sign, _), reasons in ward.left_out.items():
        for why, many in reasons.items():
            found[why][catalogue()[sign].name] += many
    lines = []
    for why, signs in sorted(found.items()):
        named = ", ".join(f"{name} {n}" for name, n in sorted(signs.items()))
        said = f"left out, {counted(signs.total(), 'pair')} of findings, {why}: {named}"
        lines += textwrap.wrap(said, WIDTH - 1, subsequent_indent="   ")
    return lines


def two_figures(value: float) -> str:
    """A kappa with two figures behind the point; 1.00, 0.00 and -1.00 only where it is that: ``<1.00``, ``>0.00``."""
    said = f"{value:.2f}"
    whole = round(value)
    if float(said) != whole or abs(value - whole) < EXACT:
        return f"{whole:.2f}" if float(said) == whole else said
    return f"{'<' if value < whole else '>'}{whole:.2f}"


def same_share(same: int, of: int) -> str:
    """A share in percent; 100 and 0 only where it is all or none."""
    share = round(100 * same / of)
    if 0 < same < of:
        share = min(99, max(1, share))
    return f"{share} %"


def _sign_line(each: SignAgreement, beside: str, few: int) -> str:
    found = each.found
    if found.kappa is None:
        kappa = "all the same answer"
    else:
        kappa = f"{two_figures(found.kappa):>5}"
        if found.low is not None and found.high is not None:
            kappa += f" ({two_figures(found.low)} to {two_figures(found.high)})"
        else:
            kappa += " (too few)"
        kappa += "" if each.ordered else " u"
        kappa += " !" if found.pairs < few else ""
    share = same_share(found.same, found.pairs)
    return f"{cut(each.name, 28):<28} {found.pairs:>5} {share:>5}  {kappa:<24} {beside}"


HEAD = (
    "sign",
    "scale",
    "pairs",
    "patients",
    "same",
    "kappa",
    "low",
    "high",
    "weights",
    "published",
    "left_out",
)


def ward_table(ward: WardAgreement) -> Iterator[str]:
    """A heading and a row for each sign, as CSV."""
    yield line(HEAD)
    told = {(s.sign, s.scale) for s in ward.signs}
    for each in ward.signs:
        found = each.found
        beside = "; ".join(f"{row.kappa:.2f} {row.source}" for _, row in _beside(each.sign))
        yield line((
            each.sign, each.scale, str(found.pairs), str(found.patients), str(found.same), number(found.kappa),
            number(found.low), number(found.high), "quadratic" if each.ordered else "none", beside,
            _reasons(ward.left_out.get((each.sign, each.scale), {})),
        ))  # fmt: skip
    for (sign, scale), reasons in ward.left_out.items():
        if (sign, scale) not in told:
            yield line((sign, scale, "0", "0", "0", *[""] * 5, _reasons(reasons)))


def _reasons(reasons: Mapping[str, int]) -> str:
    return "; ".join(f"{many} {why}" for why, many in sorted(reasons.items()))


# --- two examinations of one patient


def last_two(examinations: Sequence[Examination]) -> tuple[Examination, Examination] | None:
    """The last examination and the last before it by another doctor; None where there are no such two."""
    for at in range(len(examinations) - 1, 0, -1):
        other = examinations[at]
        for one in reversed(examinations[:at]):
            if one.examiner != other.examiner:
                return one, other
    return None


def _places(sign: str, one: Finding | None, other: Finding | None) -> Pair | None:
    if one is None or other is None:
        return None
    return places(sign, one.model_dump(), other.model_dump())


def side_by_side(patient: Patient, one: Examination, other: Examination) -> str:
    """Two examinations of one patient side by side, sign by sign, in lines of at most 80 columns."""
    one, other = sorted((one, other), key=lambda e: e.at)
    hours = (other.at - one.at).total_seconds() / 3600
    lines = [
        *textwrap.wrap(f"Two examinations of {clean(patient.bed)} {patient.identity}", WIDTH - 1),
        *textwrap.wrap(f"A  {one.at:%d %b %Y %H:%M}, {clean(one.by_whom)}", WIDTH - 1),
        *textwrap.wrap(f"B  {other.at:%d %b %Y %H:%M}, {clean(other.by_whom)}; {hours:.1f} h later", WIDTH - 1),
        "",
        f"{'':<30} {'right':>6} {'':>6}  {'left':>6}",
        f"{'':<30} {'A':>6} {'B':>6}  {'A':>6} {'B':>6}",
    ]  # fmt: skip
    same = near = far = only = 0
    for sign, row in catalogue().items():
        found = [(one.finding(sign, s), other.finding(sign, s)) for s in sides_of(row)]
        if not any(a or b for a, b in found):
            continue
        cells, apart = [], 0
        ordered = True
        for a, b in found:
            pair = _places(sign, a, b)
            cells.append(f"{narrow(a, None):>6} {narrow(b, None):>6}")
            only += pair is None and bool(a or b)
            if pair is None:
                continue
            ordered = order_of(sign, a.scale if a else None).ordered
            step = abs(pair[0] - pair[1]) if ordered else int(pair[0] != pair[1])
            same, near, far = same + (step == 0), near + (step == 1), far + (step > 1)
            apart = max(apart, step)
        words = f"{apart} apart" if apart and ordered else "differ" if apart else ""
        lines.append(f"{cut(row.name, 30):<30} {'  '.join(cells):<28} {words}")
    graded = same + near + far
    lines += [
        "",
        *textwrap.wrap(
            f"Of {counted(graded, 'sign')} that both graded (each side counted): {same} the same, {near} one step apart, "
            f"{far} further. {counted(only, 'sign')} by one of them alone, not testable, or on another scale. "
            "B saw what A had found.",
            WIDTH - 1,
        ),
    ]
    return "\n".join(text.rstrip() for text in lines) + "\n"
