"""An outcome from words: times, sites, sides, and what a further revision keeps."""

from datetime import UTC, datetime, timedelta, timezone

import pytest

from wardexam.errors import InputError
from wardexam.exam.acts import Act
from wardexam.exam.examination import Examination, Patient
from wardexam.exam.outcome import Outcome
from wardexam.review.concluding import (
    check_image,
    concluded,
    outcome_lines,
    read_site,
    read_time,
    read_yes,
    site_words,
)

NOW = datetime(2026, 3, 4, 14, tzinfo=timezone(timedelta(hours=1)))
LAST = Outcome(
    patient="patient1", by="Dr Ash", at=NOW - timedelta(hours=2), imaged=NOW - timedelta(hours=3), image="disc",
    positive="yes", site="cauda", side="left", diagnosis="L4/5 disc",
)  # fmt: skip


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("13:30", "2026-03-04T13:30+01:00"),
        ("now", "2026-03-04T14:00+01:00"),
        ("2026-03-02 14:30", "2026-03-02T14:30+01:00"),
        ("2.3.2026  14:30", "2026-03-02T14:30+01:00"),
        ("02/03/2026 14:30", "2026-03-02T14:30+01:00"),
        ("2026-03-02T14:30:00+00:00", "2026-03-02T14:30+00:00"),
        ("2026-03-02T14:30:05", "2026-03-02T14:30:05+01:00"),
    ],
)
def test_times(text, found):
    assert read_time(text, NOW) == datetime.fromisoformat(found)
    assert read_time(text, NOW).tzinfo


@pytest.mark.parametrize("text", ["soon", "25:00", "31.2.2026 10:00", "2.3.2026", ""])
def test_what_is_no_time(text):
    with pytest.raises(InputError, match="is no time"):
        read_time(text, NOW)


@pytest.mark.parametrize("text", ["2026-03-02", "20260302", "2026-W10-1"])
def test_a_day_alone_is_no_time_and_is_never_taken_for_its_midnight(text):
    with pytest.raises(InputError, match="needs the time of day"):
        read_time(text, NOW)


@pytest.mark.parametrize(
    ("text", "site"),
    [("cord", "cord"), ("spinal cord", "cord"), ("motor neurone", "motor_neurone"), ("CAUDA", "cauda"), ("7", "cauda"),
     ("bas", "basal_ganglia"), ("none", "none"), ("brain", "brain")],
)  # fmt: skip
def test_sites(text, site):
    assert read_site(text) == site


@pytest.mark.parametrize("text", ["b", "spleen", "0", "22", ""])
def test_what_is_no_site_or_several(text):
    with pytest.raises(InputError, match="is no site"):
        read_site(text)


def test_every_site_is_found_by_its_name_its_number_and_its_words():
    words = site_words()
    assert len(words) == 21
    for number, (name, said) in enumerate(words.items(), 1):
        assert [read_site(name), read_site(str(number)), read_site(said)] == [name] * 3


@pytest.mark.parametrize(("text", "found"), [("Y", "yes"), ("no", "no"), ("1", "yes"), ("0", "no")])
def test_yes_and_no(text, found):
    assert read_yes(text) == found


def test_a_further_revision_keeps_what_is_not_given_again():
    made = concluded({"site": "root", "why": "operated"}, "patient1", LAST, "Dr Bex", NOW)
    assert (made.revision, made.by, made.at, made.why) == (2, "Dr Bex", NOW, "operated")
    assert made.said == LAST.said | {"site": "root", "by": "Dr Bex"}


def test_a_dash_takes_a_field_away():
    made = concluded({"image": "-", "site": "-"}, "patient1", LAST, "Dr Bex", NOW)
    assert (made.image, made.site, made.side, made.diagnosis) == ("", None, None, "L4/5 disc")


def test_saying_the_same_again_says_the_same():
    made = concluded({"site": "cauda"}, "patient1", LAST, "Dr Bex", NOW)
    assert made.said == LAST.said


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"positive": "perhaps"}, "positive: perhaps is neither"),
        ({"site": "x"}, "site: x is no site"),
        ({"imaged": "2030-01-01 10:00"}, "later than now"),
        ({"diagnosis": "x" * 121}, "diagnosis: at most 120"),
        ({"side": "left"}, "at least one thing"),
        ({"side": "left", "diagnosis": "x"}, "name the site"),
    ],
)
def test_a_field_that_is_refused_is_named(given, said):
    with pytest.raises(InputError, match=said):
        concluded(given, "patient1", None, "Dr Ash", NOW)


def test_the_lines_say_what_is_said_and_nothing_else():
    assert outcome_lines(LAST) == [
        "Image 2026-03-04 11:00, positive: disc", "Site: cauda equina, left", "Diagnosis: L4/5 disc",
        "By Dr Ash, recorded 2026-03-04 12:00",
    ]  # fmt: skip
    bare = Outcome(patient="patient1", by="Dr Ash", at=NOW.astimezone(UTC), positive="no")
    assert outcome_lines(bare) == ["Image, not positive", "By Dr Ash, recorded 2026-03-04 13:00"]


HERE = Patient(id="patient1", bed="A1", name="Ana", admitted=NOW - timedelta(days=3))


def stay(*hours):
    """A stay of one examination, with a result written so many hours before now each."""
    acts = tuple(
        Act(rule="stroke", kind="done", what="x", by="x", at=NOW - timedelta(hours=h), on=())
        for h in hours
    )
    return (Examination(id="exam0001", patient="patient1", examiner="x", at=NOW, acts=acts),)


def imaged(**ago):
    return Outcome(patient="patient1", by="x", at=NOW, imaged=NOW - timedelta(**ago))


@pytest.mark.parametrize(
    ("ago", "results", "said"),
    [
        ({"hours": 2}, (), ""),
        ({"hours": 2}, (1,), ""),
        ({"hours": 2}, (2,), ""),
        ({"hours": 2}, (5, 1), ""),
        ({"days": 3}, (), ""),
        ({"days": 3, "minutes": 1}, (), "The image is less than a day before the admission"),
        ({"days": 10}, (), "is 7 days before the admission: is the date right?"),
        ({"days": 33}, (), "is 30 days before"),
    ],
)
def test_an_image_that_can_be_is_taken_and_one_before_the_admission_is_asked_about(
    ago, results, said
):
    found = check_image(imaged(**ago), None, HERE, stay(*results))
    assert said in found
    assert bool(said) == bool(found)


@pytest.mark.parametrize(
    ("ago", "results", "said"),
    [
        ({"hours": 2}, (3,), "the image is after the last result, written 2026-03-04 11:00"),
        ({"hours": 2}, (3, 50), "is after the last result"),
        ({"days": 33, "minutes": 1}, (), "more than 30 days before the admission"),
    ],
)
def test_an_image_that_cannot_be_is_refused(ago, results, said):
    with pytest.raises(InputError, match=said):
        check_image(imaged(**ago), None, HERE, stay(*results))


def test_of_a_further_image_a_reason_is_enough():
    made = imaged(hours=2).model_copy(update={"why": "second image"})
    assert check_image(made, None, HERE, stay(3)) == ""


def test_a_time_that_is_not_said_anew_is_not_asked_about_again():
    made = imaged(days=40)
    assert check_image(made, made, HERE, stay(3000)) == ""
    assert check_image(LAST.model_copy(update={"imaged": None}), None, HERE, stay(1)) == ""
