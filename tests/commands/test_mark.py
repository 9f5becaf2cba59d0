"""An examination entered in error, marked and taken back by command: who it is and why are told before it is done."""

import json

import pytest

from wardexam.commands.main import run
from wardexam.records.ward import open_ward

WHO, NUMBER = "f14z5r3kehjb2w60", "37-1490"  # Kwabena Asante, with cord signs


@pytest.fixture
def mark(folder, capsys):
    def marked(*words, code=0):
        assert run(["mark", "--db", str(folder), "--examiner", "Dr Bex", *words]) == code
        return capsys.readouterr()

    return marked


@pytest.fixture
def last(folder):
    return open_ward(folder).examinations(WHO)[-1]


def known(folder):
    return (folder / "patients" / f"{WHO}.json").read_bytes()


def test_without_words_it_lists_the_examinations_and_marks_nothing(mark, folder, last):
    before = known(folder)
    out = mark(WHO).out
    assert "Kwabena Asante, no. 37-1490" in out.splitlines()[0]
    assert f"{last.id}  {last.at.day} {last.at:%b %Y %H:%M} {last.by_whom}\n" in out
    assert f'wardexam mark {WHO} {last.id} --identity "{NUMBER}" --why "WORDS"' in out
    assert known(folder) == before


def test_with_identity_and_words_it_counts_no_more_and_every_paper_says_so(
    mark, folder, last, capsys
):
    listed = {b.patient_id: b for b in open_ward(folder).beds()}[WHO]
    out = mark(WHO, last.id, "--identity", NUMBER, "--why", "wrong patient").out
    assert out.splitlines() == [
        "Kwabena Asante, no. 37-1490, bed C2",
        f"examination of {last.at.day} {last.at:%b %Y %H:%M} by {last.by_whom}",
        "Marked as entered in error. It counts no more; nothing of it is lost.",
    ]
    ward = open_ward(folder)
    assert ward.file(WHO).in_error(last.id).by == "Dr Bex"
    now = {b.patient_id: b for b in ward.beds()}[WHO]
    assert now.examinations == listed.examinations - 1
    assert "ENTERED IN ERROR: wrong patient. Not valid" in mark(WHO).out
    assert run(["check", "--db", str(folder)]) == 0
    capsys.readouterr()
    for form in ("sentences", "table", "line", "figure"):
        run(["note", "--db", str(folder), WHO, "--examination", last.id, "--form", form])
        assert capsys.readouterr().out.startswith("ENTERED IN ERROR: wrong patient. Not valid")
    events = [json.loads(t) for t in (folder / "audit.jsonl").read_text().splitlines()]
    assert [e["patient"] for e in events if e["event"] == "entered in error"] == [WHO]


def test_no_paper_and_no_list_of_any_command_has_it(mark, folder, last, tmp_path, capsys):
    mark(WHO, last.id, "--identity", NUMBER, "--why", "wrong patient")

    def said(*words):
        run([words[0], "--db", str(folder), *words[1:]])
        return capsys.readouterr().out

    assert last.id not in said("export", "--csv")
    assert "clonus" in " ".join(f.sign for f in last.findings)  # which nobody else has there
    (bed,) = (b for b in json.loads(said("beds", "--json"))["beds"] if b["patient"] == WHO)
    assert bed["examinations"] == len(open_ward(folder).file(WHO).examinations)
    for words in (("referral", WHO), ("act", WHO), ("figure", WHO), ("handover",), ("beds",)):
        out = said(*words)
        assert "wrong patient" not in out, words
        assert f"{last.at:%Y-%m-%d %H:%M}" not in out, words
    run(["research", "--db", str(folder), str(tmp_path / "out"), "--key", str(tmp_path / "key")])
    capsys.readouterr()
    rows = (tmp_path / "out" / "examinations.csv").read_text().splitlines()[1:]
    assert len(rows) == sum(b["examinations"] for b in _every(folder))
    assert (
        said("audit", "--from", "2026-03-01", "--to", "2026-03-31").count(" 17 examinations") == 1
    )
    assert "no examination" in _refusal(folder, capsys, last)


def _every(folder):
    ward = open_ward(folder)
    return [
        {"examinations": b.examinations} for d in (False, True) for b in ward.beds(discharged=d)
    ]


def _refusal(folder, capsys, last):
    run(["agreement", "--db", str(folder), WHO, last.id, last.id])
    return capsys.readouterr().err


def test_it_is_taken_back_with_words(mark, folder, last):
    before = {b.patient_id: b for b in open_ward(folder).beds()}[WHO]
    mark(WHO, last.id, "--identity", NUMBER, "--why", "wrong patient")
    assert f"mark {WHO} {last.id} --take-back" in mark(WHO, "--take-back").out
    out = mark(WHO, last.id, "--take-back", "--identity", NUMBER, "--why", "it was his").out
    assert out.splitlines()[-1] == "It counts again."
    now = {b.patient_id: b for b in open_ward(folder).beds()}[WHO]
    assert (now.examinations, now.last_at) == (before.examinations, before.last_at)
    assert now.summary.urgency == before.summary.urgency


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--identity", "40-9999", "--why", "x"), "the number of this patient is another"),
        (("--identity", NUMBER), "Words that say why are needed"),
        (("--identity", NUMBER, "--why", " "), "Words that say why are needed"),
        (("--identity", NUMBER, "--why", "x" * 121), "say it shorter"),
        (("nobody00", "--identity", NUMBER, "--why", "x"), "no examination 'nobody00'"),
        (("--take-back", "--identity", NUMBER, "--why", "x"), "is not marked as entered in error"),
    ],
)
def test_what_cannot_be_is_refused_in_a_line_and_nothing_is_written(
    mark, folder, last, words, said
):
    before = known(folder)
    which = () if words[0] == "nobody00" else (last.id,)
    told = mark(WHO, *which, *words, code=2)
    assert said in told.err
    assert told.err.count("\n") == 1
    assert known(folder) == before


@pytest.mark.parametrize("which", [(), ("",)])
def test_none_is_marked_that_is_not_named_so_that_the_same_again_marks_no_other(
    mark, folder, which
):
    before = known(folder)
    for _ in range(2):
        said = mark(WHO, *which, "--identity", NUMBER, "--why", "wrong patient", code=2)
        assert "say which examination" in said.err or "is empty" in said.err
    assert known(folder) == before


def test_where_none_counts_any_more_it_is_said_and_what_there_is_can_be_named(
    mark, folder, last, capsys
):
    ward = open_ward(folder)
    for e in ward.examinations(WHO):
        mark(WHO, e.id, "--identity", NUMBER, "--why", "wrong patient")
    assert run(["note", "--db", str(folder), WHO]) == 2
    assert "no examination counts: all were entered in error" in capsys.readouterr().err
    assert run(["note", "--db", str(folder), WHO, "--examination", last.id]) == 0
    assert capsys.readouterr().out.startswith("ENTERED IN ERROR")
    run(["beds", "--db", str(folder)])
    (bed,) = (t for t in capsys.readouterr().out.splitlines() if WHO in t)
    assert bed.endswith("not examined")
