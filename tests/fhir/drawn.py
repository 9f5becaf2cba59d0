"""Patients, examinations, sheets and outcomes as Hypothesis draws them: every field of theirs, every sign and answer."""

from datetime import UTC, datetime, timedelta, timezone

from hypothesis import strategies as st

from tests.injury.drawn import drawn
from wardexam.anatomy.catalogue import PARTS, SEGMENTS, catalogue
from wardexam.exam.acts import Act
from wardexam.exam.answers import SCALES, answers_for, scales
from wardexam.exam.examination import Amendment, Context, Examination, Patient
from wardexam.exam.final_sites import FINAL_SIDES, FINAL_SITES
from wardexam.exam.findings import REASON_WORDS, Finding, RestNormal, qualities
from wardexam.exam.flags import every_flag
from wardexam.exam.outcome import Outcome
from wardexam.injury.kept import KeptSheet
from wardexam.records.repository import Arrival

# A letter at its beginning: a text of blanks alone is none in FHIR.
words = st.text(
    st.characters(exclude_categories=["Cc", "Cs", "Zs", "Zl", "Zp", "Cn", "Co"], include_characters=" \n"), max_size=40
).map(lambda t: t and f"a{t}")  # fmt: skip
line = words.map(lambda t: t.replace("\n", " "))
names = line.map(lambda t: f"Dr {t}"[:60])
times = st.datetimes(
    datetime(1950, 1, 1), datetime(2099, 12, 31), timezones=st.sampled_from([
        UTC, timezone(timedelta(hours=5, minutes=45)), timezone(timedelta(hours=-9, minutes=-30)), timezone(timedelta(hours=14)),
    ]),
)  # fmt: skip
SEEN = list(catalogue().values())


@st.composite
def findings(draw, sign):
    side = draw(st.sampled_from(["right", "left"])) if sign.sides == "each" else "midline"
    told = {"sign": sign.id, "side": side, "comment": draw(words)}
    told["known"] = draw(line)
    if draw(st.integers(0, 4)) == 0:
        return Finding(**told, not_testable=draw(st.sampled_from(list(REASON_WORDS))))
    scale = draw(st.sampled_from(SCALES)) if sign.answers == "tendon" else None
    answers = answers_for(sign.answers, scale or "conventional")
    choice = [*answers.codes, *(SEGMENTS if sign.answers == "level" else ())]
    told |= {"answer": draw(st.sampled_from(choice)), "scale": scale}
    number = answers.amount
    if number and told["answer"] in number.answers and (number.required or draw(st.booleans())):
        told["amount"] = draw(st.integers(number.least, number.most))
    able = [q for q, row in qualities().items() if sign.id in row.signs]
    if scale and scales()[scale].meanings[told["answer"]] == "absent":
        able = [q for q in able if q != "reinforced"]
    if able:
        told["qualities"] = draw(st.lists(st.sampled_from(able), unique=True, max_size=2))
    return Finding(**told)


def _limbs():
    for part in PARTS:
        for limb in ("head", "trunk", "right arm", "left arm", "right leg", "left leg"):
            try:
                RestNormal(part=part, limb=limb)
            except ValueError:
                continue
            yield part, limb


STATED = list(_limbs())
contexts = st.builds(
    Context, age=st.none() | st.integers(0, 120), sex=st.sampled_from(["female", "male", "other", "unknown"]),
    onset=st.sampled_from(["sudden", "hours", "waking", "days", "weeks", "longer", "unknown"]),
    complaint=st.sampled_from([None, "weak_leg", "other"]), complaint_side=st.sampled_from([None, "right", "both", "none"]),
    bears_weight=st.sampled_from([None, "yes", "no"]), pain=st.sampled_from([None, "none", "radiating"]),
    trauma=st.sampled_from([None, "yes", "no"]), setting=st.sampled_from([None, "none", "childbirth"]),
)  # fmt: skip
acts = st.builds(
    Act, rule=st.sampled_from(["cauda_equina", "inferred_site", "of_an_earlier_version"]),
    kind=st.sampled_from(["called", "asked", "done", "not_needed", "lowered"]), what=line, by=st.just("") | names, at=times,
    on=st.none() | st.lists(line.filter(bool), max_size=3), ended=line,
)  # fmt: skip
statements = st.builds(
    lambda where, by, at: RestNormal(part=where[0], limb=where[1], by=by, at=at),
    st.sampled_from(STATED), st.just("") | names, st.none() | times,
)  # fmt: skip


def sorted_(flags):
    """Flags in the order in which a record that lies in a file has them."""
    return dict(sorted(flags.items()))


@st.composite
def examinations(draw, patient, name, revision=1):
    """A revision of an examination."""
    signs = draw(st.lists(st.sampled_from(SEEN), unique_by=lambda s: s.id, max_size=6))
    amended = Amendment(by=draw(names), at=draw(times), why=draw(line))
    error = revision > 1 and bool(amended.why.strip()) and draw(st.booleans())
    at = draw(times)
    return Examination(
        id=name, patient=patient, revision=revision, examiner=draw(st.just("") | names), at=at,
        scale=draw(st.sampled_from(SCALES)), context=draw(contexts), findings=[draw(findings(s)) for s in signs],
        rest_normal=draw(st.lists(statements, max_size=3)),
        flags=draw(st.dictionaries(st.sampled_from(list(every_flag())), st.sampled_from(["yes", "no"]), max_size=4).map(sorted_)),
        acts=draw(st.lists(acts, max_size=3)), comment=draw(words), impression=draw(words), suggestion=draw(words),
        entered_by=draw(st.lists(names, max_size=2)), saved_by=draw(st.just("") | names),
        amendment=amended if revision > 1 else None, in_error=error, entered=at + timedelta(hours=3) if draw(st.booleans()) else None,
    )  # fmt: skip


@st.composite
def sheets(draw, patient, name, revision=1):
    """A revision of a cord injury sheet, with marks, gaps and ratings."""
    sheet = drawn(draw(st.integers(1, 10_000)), unknown=draw(st.integers(0, 4)), marks=draw(st.integers(0, 3)))  # fmt: skip
    document = sheet.model_dump(mode="json") | {"comment": draw(words), "id": draw(line)}
    marked = [
        (test, side, place)
        for test in ("light_touch", "pinprick", "motor")
        for side in ("right", "left")
        for place, score in document[test][side].items()
        if score.endswith("*")
    ]
    document["rated"] = [
        {"test": t, "side": s, "segment": p, "counts": draw(st.sampled_from(["normal", "examined"])), "why": draw(words)}
        for t, s, p in marked[:2]
    ]  # fmt: skip
    amended = Amendment(by=draw(names), at=draw(times), why=draw(line))
    return KeptSheet.model_validate({
        "id": name, "patient": patient, "revision": revision, "examiner": draw(st.just("") | names),
        "at": draw(times).isoformat(), "saved_by": draw(names), "sheet": document,
        "amendment": amended.model_dump(mode="json") if revision > 1 else None,
    })  # fmt: skip


@st.composite
def outcomes(draw, patient, revision=1):
    """A revision of an outcome."""
    site = draw(st.sampled_from([None, *FINAL_SITES]))
    at = draw(times)
    return Outcome(
        patient=patient, revision=revision, image=draw(line), positive=draw(st.sampled_from([None, "yes", "no"])), site=site,
        side=draw(st.sampled_from([None, *FINAL_SIDES])) if site else None, diagnosis=draw(line) or "a diagnosis",
        imaged=draw(st.none() | st.just(at - timedelta(hours=1))), by=draw(names), at=at, why=draw(line),
    )  # fmt: skip


@st.composite
def patients(draw, name):
    """A patient's details."""
    admitted = draw(times)
    return Patient(
        id=name, revision=draw(st.integers(1, 9)), bed=draw(line)[:12] or "A1", name=draw(line) or "Ana Invented",
        number=draw(line)[:20], born=draw(st.none() | st.just((admitted - timedelta(days=20_000)).date())),
        age=draw(st.none() | st.integers(0, 120)), sex=draw(st.sampled_from(["female", "male", "other", "unknown"])),
        recheck_hours=draw(st.none() | st.integers(1, 168)), admitted=admitted,
        discharged=draw(st.none() | st.just(admitted + timedelta(days=3))), remark=draw(line),
    )  # fmt: skip


@st.composite
def arrivals(draw, name="patient1"):
    """A patient with some examinations, sheets and outcomes, each with all its revisions."""
    return Arrival(
        draw(patients(name)),
        tuple(
            draw(examinations(name, f"exam000{n}", r))
            for n in range(draw(st.integers(0, 2)))
            for r in range(1, draw(st.integers(2, 3)))
        ),
        sheets=tuple(draw(sheets(name, "sheet0001", r)) for r in range(1, draw(st.integers(1, 3)))),
        outcomes=tuple(draw(outcomes(name, r)) for r in range(1, draw(st.integers(1, 3)))),
    )
