"""A ward with everything in it: every kind of record in revisions, drafts, drafts set aside, words beyond ASCII."""

from datetime import timedelta

from tests.records.conftest import AT
from wardexam.exam.entry import Change, apply
from wardexam.exam.examination import Amendment, Examination, Patient
from wardexam.exam.outcome import Outcome
from wardexam.injury.entry import SheetChange
from wardexam.injury.kept import KeptSheet
from wardexam.injury.sheet import InjurySheet
from wardexam.injury.typed import read_typed
from wardexam.records.repository import Summary

SUMMARY = Summary(3, "now", True, "Blase: Restharn 600 ml – Kaudasyndrom?", "2026-03-02T12:00:00+00:00", "MRI", True, "Kauda?")  # fmt: skip
KNEE = {"sign": "knee", "side": "right", "answer": "0", "scale": "conventional"}


def examined(name, of="patient1", hours=0, comment=""):
    begun = Examination(id=name, patient=of, examiner="Dr Ash", at=AT + timedelta(hours=hours), comment=comment)  # fmt: skip
    return apply(begun, Change("finding", "knee right", KNEE))


def scored(name, of="patient1"):
    sheet = read_typed("light touch: 2t9, 1t12, 0\nmotor: 4*5555/00000")
    return KeptSheet(id=name, patient=of, examiner="Dr Ash", at=AT, sheet=sheet)


def filled(ward):
    """Fill an empty ward, of whichever store; gives it."""
    for number, name in ((1, "Åsa Ünvented 李"), (2, "Bo 'O\"Brien' \\n"), (3, "Césaire 𝄞")):
        ward.admit(Patient(id=f"patient{number}", bed=f"A{number}", name=name, age=60, admitted=AT), "Dr Äsh")  # fmt: skip
    edited = ward.patient("patient1").model_copy(update={"remark": "weak legs – since 3 d"})
    edited = ward.update(edited, "Dr Äsh")
    ward.update(edited.model_copy(update={"bed": "B9"}), "Dr Äsh")
    first = ward.save(examined("exam0001", hours=2), "Dr Äsh", SUMMARY)
    amended = ward.amend(first.model_copy(update={"comment": "früher übersehen"}), "Dr Bex", "Tippfehler", AT)  # fmt: skip
    ward.save(examined("exam0002", hours=1, comment="ein\ttab"), "Dr Bex", None)
    ward.amend(amended.model_copy(update={"comment": "doch nicht"}), "Dr Äsh", "again", AT)
    ward.save(examined("exam0003", of="patient2"), "Dr Bex", SUMMARY)
    sheet = ward.save_sheet(scored("sheet001"), "Dr Äsh")
    again = {"revision": 2, "amendment": Amendment(by="Dr Bex", at=AT, why="typing"), "sheet": read_typed("vac no\ndap yes")}  # fmt: skip
    ward.save_sheet(sheet.model_copy(update=again), "Dr Bex")
    ward.conclude(Outcome(patient="patient2", at=AT, by="Dr Äsh", diagnosis="L4/5 – Vorfall"), "Dr Äsh")  # fmt: skip
    ward.conclude(Outcome(patient="patient2", revision=2, at=AT, by="Dr Bex", diagnosis="L5/S1", why="looked again"), "Dr Bex")  # fmt: skip
    ward.discharge(ward.patient("patient2"), AT + timedelta(days=2), "Dr Äsh")
    for name in ("draft001", "draft002", "draft003"):
        draft = ward.start_draft(Examination(id=name, patient="patient3", examiner="Dr Ash", at=AT), "Dr Äsh")  # fmt: skip
        draft.append(Change("finding", "knee right", KNEE))
        draft.append(Change("comment", "", f"übel – {name}"))
        assert draft.flush(10)
        draft.close()
    ward.set_aside("draft002", "Dr Bex")
    begun = KeptSheet(id="sheet002", patient="patient1", examiner="Dr Ash", at=AT, sheet=InjurySheet())  # fmt: skip
    for name in ("sheet002", "sheet003"):
        draft = ward.sheet_drafts.start(begun.model_copy(update={"id": name}), "Dr Äsh")
        draft.append(SheetChange({"anal_contraction": "no"}))
        assert draft.flush(10)
        draft.close()
    ward.sheet_drafts.put_aside("sheet003", "Dr Bex")
    ward.record("exported", "patient1", "Dr Äsh")
    return ward
