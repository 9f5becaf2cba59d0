"""What was done about a reason, written and read by command; the trail and the check with it."""

import json

import pytest

from wardexam.commands.main import run
from wardexam.records.ward import open_ward

WHO = "f14z5r3kehjb2w60"  # Kwabena Asante, with cord signs and nothing done


def act(folder, *words):
    return run(["act", "--db", str(folder), "--examiner", "Dr Ash", *words])


def test_the_reasons_of_a_patient_are_printed_with_their_deadline(folder, capsys):
    assert act(folder, WHO) == 0
    head, first, *_ = capsys.readouterr().out.splitlines()
    assert head == "C2 Kwabena Asante, no. 37-1490: now"
    assert first.startswith("cord_and_function: NOW, WITHIN 4 H: cord signs, growing")
    assert "OVERDUE" in first


def test_an_act_is_a_further_revision_and_a_line_of_the_trail_and_the_store_is_sound(
    folder, capsys
):
    words = ("asked", "MRI", "cervical", "spine")
    assert act(folder, WHO, "cord_and_function,progressive", *words) == 0
    said = capsys.readouterr().out
    assert said.count("MRI cervical spine asked") == 2
    saved = open_ward(folder).examinations(WHO)[-1]
    assert (saved.revision, saved.amendment.by) == (2, "Dr Ash")
    assert saved.amendment.why == "image asked for: MRI cervical spine"
    assert [a.rule for a in saved.acts] == ["cord_and_function", "progressive"]
    events = [json.loads(t) for t in (folder / "audit.jsonl").read_text().splitlines()]
    (line,) = (e for e in events if e["event"] == "amended")
    assert line["patient"] == WHO
    assert f"{saved.id} 2" in line["what"]
    assert run(["check", "--db", str(folder)]) == 0
    capsys.readouterr()
    run(["beds", "--db", str(folder)])
    (bed,) = (t for t in capsys.readouterr().out.splitlines() if WHO in t)
    assert "now; OVERDUE" in bed
    assert "MRI cervical spine asked" in bed


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("stroke", "called"), "no reason 'stroke' stands"),
        (("cord_and_function",), "say what was done"),
        (("cord_and_function", "done"), "image done: no words say how"),
        (("cord_and_function", "lowered", "all fine"), "nothing brings this reason down"),
        (("cord_and_function", "forgot", "x"), "invalid choice"),
    ],
)
def test_what_cannot_be_is_refused_and_nothing_is_written(folder, words, said, capsys):
    before = (folder / "patients" / f"{WHO}.json").read_bytes()
    assert act(folder, WHO, *words) == 2
    assert said in capsys.readouterr().err
    assert (folder / "patients" / f"{WHO}.json").read_bytes() == before
