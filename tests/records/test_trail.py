"""What the audit trail keeps, and which forgeries the store itself shows."""

import json
import os
import sys
import threading

import pytest

from tests.records.checking import check_store
from wardexam.errors import RecordsError
from wardexam.exam.entry import apply
from wardexam.records import audit
from wardexam.records.paths import kept_trail
from wardexam.records.schemas import mark_in, pack, read_tables
from wardexam.records.ward import open_ward


@pytest.fixture
def used(ward, patient, examination, knee):
    ward.admit(patient, "Dr Ash")
    ward.save(apply(examination, knee), "Dr Ash")
    ward.record("viewed", patient.id, "Dr Bex")
    return ward


def lines(ward):
    return [json.loads(t) for t in ward.audit.path.read_text().splitlines()]


def check(ward, patient, *, repair=False, heads=()):
    return check_store(ward.folder, repair=repair, by="Dr Ash", heads=heads)


def edit_knee(path, answer=b"2+"):
    """Another answer in a stored finding, with a checksum that fits."""
    tables = read_tables(path)
    rows = {k: dict(r) for k, r in tables["examinations"].items()}
    rows["1"]["findings"][0]["answer"] = answer.decode()
    path.write_bytes(b"".join(pack({**tables, "examinations": rows})[0]))


def test_a_line_names_the_login_whatever_name_was_given(used):
    import pwd

    assert {line["login"] for line in lines(used)} == {pwd.getpwuid(os.getuid()).pw_name}
    assert [line["n"] for line in lines(used)] == [1, 2, 3]


def test_a_lines_login_comes_from_the_system_and_not_from_the_environment(used, monkeypatch):
    monkeypatch.setenv("USER", "somebody")
    monkeypatch.setenv("LOGNAME", "somebody")
    assert audit.login() != "somebody"


def test_a_saved_line_holds_the_checksum_of_the_file_it_left(used, patient):
    saved = lines(used)[1]
    assert saved["record"] == mark_in(used.layout.file(patient.id)).split(" ")[0]


def test_a_finding_edited_with_a_new_checksum_is_found(used, patient):
    edit_knee(used.layout.file(patient.id))
    report = check(used, patient)
    assert any(line.startswith("changed outside this program since audit line 2") for line in report.lines)  # fmt: skip
    assert not report.sound


def test_a_forged_file_is_found_even_after_the_next_save(used, patient, examination):
    edit_knee(used.layout.file(patient.id))
    used.save(examination.model_copy(update={"id": "exam0002"}), "Dr Ash")
    report = check(used, patient)
    assert any("had been changed outside this program by audit line 4" in t for t in report.lines)
    assert not report.sound


def test_a_change_from_outside_is_accepted_by_name_and_stays_in_the_trail(used, patient):
    edit_knee(used.layout.file(patient.id))
    check(used, patient, repair=True)
    assert check(used, patient).sound
    assert [(x["event"], x["by"]) for x in lines(used) if x["event"] == "accepted"] == [("accepted", "Dr Ash")]  # fmt: skip


def test_the_version_before_put_back_by_hand_is_found(used, patient):
    path = used.layout.file(patient.id)
    os.replace(path.with_name(f"{path.name}.before"), path)
    assert not check(used, patient).sound


def test_a_file_brought_in_by_hand_is_found(used, patient, tmp_path):
    other = open_ward(tmp_path / "other")
    other.admit(patient.model_copy(update={"id": "patient2"}), "x")
    used.layout.file("patient2").write_bytes(other.layout.file("patient2").read_bytes())
    report = check(used, patient)
    assert any(line.startswith("the audit trail knows nothing of this patient") for line in report.lines)  # fmt: skip


@pytest.mark.parametrize("how", ["gone", "emptied"])
def test_a_missing_or_emptied_trail_is_a_fault(used, patient, how):
    used.audit.path.unlink() if how == "gone" else used.audit.path.write_bytes(b"")
    report = check(used, patient)
    assert "the audit trail is missing or empty, though there are patients" in report.lines
    assert not report.sound
    kept_trail(used.folder).unlink()  # for another login, too
    assert not check(used, patient).sound


def test_a_trail_cut_at_a_line_disagrees_with_this_logins_own_head(used, patient):
    whole = used.audit.path.read_bytes().splitlines(keepends=True)
    used.audit.path.write_bytes(b"".join(whole[:-1]))
    assert any("was cut short: it has 2 lines, line 3 was kept" in t for t in check(used, patient).lines)  # fmt: skip


def test_a_trail_written_anew_disagrees_with_this_logins_own_head(used, patient):
    rows, before = [], audit.FIRST
    for line in lines(used):
        line.pop("hash")
        line["by"] = "Dr Nobody"
        before = audit.link(before, line)
        rows.append(json.dumps({**line, "hash": before}, sort_keys=True))
    used.audit.path.write_text("".join(f"{r}\n" for r in rows))
    assert audit.verify(used.audit.path).faults == []  # the chain alone holds
    assert any("was written anew: its line 3" in t for t in check(used, patient).lines)


def test_a_printed_head_is_compared(used, patient):
    head = audit.read_head(used.trail_head())
    assert check(used, patient, heads=[head]).sound
    kept_trail(used.folder).unlink()
    whole = used.audit.path.read_bytes().splitlines(keepends=True)
    used.audit.path.write_bytes(b"".join(whole[:-1]))
    assert check(used, patient).sound  # this login kept nothing: only the paper knows
    assert not check(used, patient, heads=[head]).sound


@pytest.mark.parametrize(
    "text", ["", "12", "x:abcdef0123", "12:xyz", "12:abc", "9" * 5000 + ":abcdef01"]
)
def test_what_is_no_head_is_refused(text):
    with pytest.raises(ValueError, match=f"^{text}$"):
        audit.read_head(text)


def test_a_line_that_had_to_wait_goes_in_with_the_next(used, patient, monkeypatch):
    real = used.audit.path
    used.audit.path = real.parent / "nowhere" / "audit.jsonl"
    saved = used.update(used.patient(patient.id).model_copy(update={"bed": "B1"}), "Dr Ash")
    assert "cannot be written" in used.problem
    used.audit.path = real
    used.settle()
    assert (saved.bed, used.problem) == ("B1", "")
    assert check(used, patient).sound


def test_a_line_that_waited_too_long_does_not_speak_of_a_file_saved_since(used, patient):
    real, other = used.audit.path, open_ward(used.folder)
    used.audit.path = real.parent / "nowhere" / "audit.jsonl"
    used.update(used.patient(patient.id).model_copy(update={"bed": "B1"}), "Dr Ash")
    other.update(other.patient(patient.id).model_copy(update={"bed": "C1"}), "Dr Bex")
    used.audit.path = real
    used.settle()
    report = check(used, patient)
    assert not any("since audit line" in line for line in report.lines)


def test_lines_of_an_earlier_version_are_counted_on(used, patient):
    rows, before = [], audit.FIRST
    for line in lines(used):
        line = {k: line[k] for k in ("at", "event", "patient", "by", "what")}
        before = audit.link(before, line)
        rows.append(json.dumps({**line, "hash": before}, sort_keys=True))
    used.audit.path.write_text("".join(f"{r}\n" for r in rows))
    kept_trail(used.folder).unlink()
    assert check(used, patient).sound
    used.record("viewed", patient.id, "Dr Ash")
    assert lines(used)[-1]["n"] == 4
    assert check(used, patient).sound


def test_who_forges_record_trail_and_own_head_together_is_not_found(used, patient):
    head = audit.read_head(used.trail_head())
    edit_knee(used.layout.file(patient.id))
    rows, before = [], audit.FIRST
    for line in lines(used):
        line.pop("hash")
        if line["event"] == "saved":
            line["record"] = mark_in(used.layout.file(patient.id)).split(" ")[0]
        before = audit.link(before, line)
        rows.append(json.dumps({**line, "hash": before}, sort_keys=True))
    used.audit.path.write_text("".join(f"{r}\n" for r in rows))
    kept_trail(used.folder).write_text(json.dumps({"line": 3, "hash": before}))
    assert check(used, patient).sound  # as the README says
    assert not check(used, patient, heads=[head]).sound  # but for a head kept elsewhere


def test_the_lines_of_a_trail_are_read_in_turn_and_a_torn_last_one_is_none(used, patient):
    assert [t.event for t in used.trail(patient.id)] == ["admitted", "saved", "viewed"]
    with used.audit.path.open("ab") as file:
        file.write(b'{"at": "2026-03-02')
    assert [t.event for t in used.trail()] == ["admitted", "saved", "viewed"]


@pytest.mark.parametrize(
    ("broken", "said"),
    [
        (b"{\n", "audit line 2: is not readable"),
        (b"[1]\n", "a line of the audit trail is not as this program writes it"),
        (b'{"event": "saved"}\n', "a line of the audit trail is not as this program writes it"),
        (b"x" * 5000, "audit line 2: is not readable"),
    ],
)
def test_a_line_of_the_trail_that_cannot_be_read_is_said(used, broken, said):
    first = used.audit.path.read_bytes().splitlines(keepends=True)[0]
    used.audit.path.write_bytes(first + broken)
    with pytest.raises(RecordsError) as refused:
        list(used.trail())
    assert said in str(refused.value)
    assert "wardexam check" in str(refused.value)


def test_of_events_of_two_threads_the_one_that_is_refused_is_taken_back_and_no_other(
    tmp_path,
):
    trail = audit.Audit(tmp_path / "trail", 0o600)
    trail.path.mkdir()  # it cannot be written now
    interval = sys.getswitchinterval()
    sys.setswitchinterval(1e-6)

    def refused():
        for _ in range(300):
            with pytest.raises(RecordsError):
                trail.add("exported", "patient1", "x")

    def waiting():
        for _ in range(300):
            trail.note("viewed", "patient1", "x")

    try:
        threads = [threading.Thread(target=work) for work in (refused, waiting)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
    finally:
        sys.setswitchinterval(interval)
    trail.path.rmdir()
    trail.settle()
    assert [line["event"] for line in trail.lines()] == ["viewed"] * 300
