"""The ward's handover sheet: sickest and most changed first, ten patients to a screen of 24 lines."""

from collections.abc import Sequence
from datetime import datetime, timedelta

from wardexam.exam.examination import Examination, Patient
from wardexam.exam.flags import flags
from wardexam.exam.text import to_ascii
from wardexam.note.headline import Headline, summarise
from wardexam.reasoning.change import compare
from wardexam.reasoning.urgency import assess

PER_SCREEN = 10


def due_in(patient: Patient, last: Examination | None, now: datetime) -> str:
    """When the next examination is due, in words; empty without a schedule."""
    if patient.recheck_hours is None or last is None:
        return ""
    hours = (last.at + timedelta(hours=patient.recheck_hours) - now).total_seconds() / 3600
    return f"overdue {-hours:.0f} h" if hours < 0 else f"due in {hours:.0f} h"


def headline_of(examinations: Sequence[Examination]) -> Headline | None:
    """The headline of a patient's last examination against the one before; None without one."""
    if not examinations:
        return None
    last = examinations[-1]
    previous = examinations[-2] if len(examinations) > 1 else None
    urgency = assess(last, previous, None)
    return summarise(urgency, compare(previous, last) if previous else None, None)


def render(rows: Sequence[tuple[Patient, Sequence[Examination]]], *, now: datetime) -> str:
    """The sheet as plain ASCII text, 80 columns, two lines a patient."""
    made = []
    for patient, examinations in rows:
        headline = headline_of(examinations)
        last = examinations[-1] if examinations else None
        if headline is None or last is None:
            word, text, order = "not examined", "no examination is stored", (-0.5, 0)
        else:
            word = headline.urgency_word + (", WORSE" if headline.worse else "")
            text = headline.headline
            order = (-float(headline.urgency), -int(headline.worse))
        age = "" if patient.age is None else f" {patient.age}"
        first = f"{to_ascii(patient.bed):<6}{to_ascii(patient.name)[:24]}{age:<5} {word.upper() if 'now' in word else word}"
        when = f"{last.at:%d %b %H:%M} {to_ascii(last.examiner)[:12]}" if last else ""
        asked = f"flags asked {len(last.flags)} of {len(flags())}" if last else ""
        second = f"      {text}; {when}; {asked}; {due_in(patient, last, now)}".rstrip("; ")
        made.append((order, patient.bed, [first[:80].rstrip(), second[:80].rstrip()]))
    made.sort(key=lambda m: (m[0], m[1]))
    lines = []
    for number in range(0, max(1, len(made)), PER_SCREEN):
        page = made[number : number + PER_SCREEN]
        lines += [
            f"HANDOVER {now:%Y-%m-%d %H:%M}   {number + 1 if page else 0}-{number + len(page)} of {len(made)}   sickest and most changed first"
        ]
        lines += [line for _, _, pair in page for line in pair]
        lines += ["What was not examined or not asked is not known. Follow local policy.", ""]
    return "\n".join(lines).rstrip("\n") + "\n"
