"""What a hospital asks of the tool before and while it uses it: `hazards`, `incident`, `research`, `retention`, `erase`."""

import argparse
from datetime import timedelta
from typing import TYPE_CHECKING

from wardexam.commands import edge
from wardexam.errors import InputError, RecordsError, WardexamError

if TYPE_CHECKING:
    from wardexam.governance.research import Mask
    from wardexam.records.repository import Repository

DAYS = 365.25  # of a year
MOST_YEARS = 150
EACH = 25  # patients between two lines of progress


def hazards(options: argparse.Namespace) -> int:
    """Print the hazard log, who owns the rules, and what is switched off here."""
    from wardexam.governance.hazards import chosen
    from wardexam.governance.paper import log, log_json, log_lines

    wording, today = edge.spoken(options), edge.now().date()
    made = log(chosen(options.hazard) if options.hazard else None, wording, today)
    if options.json:
        import json

        edge.put(json.dumps(log_json(made), ensure_ascii=True, indent=2) + "\n")
    else:
        edge.put("".join(f"{line}\n" for line in log_lines(made, wording, today)))
    return 0


def retention(options: argparse.Namespace) -> int:
    """List the patients who were discharged longer ago than told."""
    from wardexam.exam.text import counted
    from wardexam.governance.retention import discharged_before, line

    if options.years is None and options.days is None:
        raise InputError("say how long ago", "retention", "give --years or --days")
    days = (options.years or 0) * DAYS + (options.days or 0)
    if not 0 <= days <= MOST_YEARS * DAYS:
        raise InputError(f"is from 0 to {MOST_YEARS} years", "--years")
    ward, now = edge.ward(options), edge.now()
    found = discharged_before(ward.beds(discharged=True), now - timedelta(days=days))
    for kept in found:
        edge.put(edge.on_one_line(line(kept, now)) + "\n")
    edge.put(f"{counted(len(found), 'patient')} discharged so long ago\n")
    return 0


def erase(options: argparse.Namespace) -> int:
    """Say what is stored of a patient, or erase it where who it is and why are told."""
    from wardexam.commands.whose import also_discharged
    from wardexam.governance.retention import (
        beyond_reach,
        identity_of,
        is_meant,
        names_in,
        stored_words,
    )

    ward = edge.ward(options)
    whose = also_discharged(ward, options.patient)
    shown = identity_of(ward, whose)
    reach = beyond_reach(ward.events(), whose)
    if options.identity is None:
        ward.record("viewed", whose, edge.examiner(options))
        edge.put(f"{edge.on_one_line(shown.words)}\n")
        lines = [stored_words(ward, whose), *reach, "Nothing is erased yet. This would, for good:"]
        lines.append(f'  wardexam erase {whose} --identity "{shown.wanted}" --why "WORDS"')
        edge.put("".join(f"{edge.on_one_line(text)}\n" for text in lines))
        return 0
    if not is_meant(shown, options.identity):
        raise InputError(
            f"{shown.kind} of this patient is another", options.identity[:60], "nothing was erased"
        )
    why = edge.kept_words(options.why or "")
    if names_in(why, shown):
        raise InputError(
            "the reason names the patient",
            "--why",
            "leave it out: the audit trail keeps the reason",
        )
    ward.erase(whose, edge.examiner(options), why)
    edge.put(f"Erased: {whose}. The audit trail says who did, why and when.\n")
    edge.put("".join(f"{edge.on_one_line(text)}\n" for text in reach))
    return 0


def incident(options: argparse.Namespace) -> int:
    """Write what was entered and said in one examination, by which version, without names."""
    from wardexam.commands.whose import identifier
    from wardexam.governance.incident import incident as made_of
    from wardexam.governance.incident import incident_json, incident_lines
    from wardexam.saved import Saved

    session = edge.session(options, edge.spoken(options))
    whose = identifier(session.ward, options.patient)
    case = Saved(session, whose).named(options.examination)
    name = case.examination.id
    revisions = session.ward.revisions(whose, name)
    session.ward.record("exported", whose, session.examiner, f"incident, {name}")
    urgency, events = case.urgency(own=True), session.ward.events()
    made = made_of(case.patient, revisions, urgency, events, session.now())
    if options.json:
        import json

        lines = [json.dumps(incident_json(made), ensure_ascii=True, indent=2)]
    else:
        lines = [edge.on_one_line(line) for line in incident_lines(made, revisions)]
    text = "".join(f"{line}\n" for line in lines)
    if options.file:
        from wardexam.records.private_file import write_private

        write_private(options.file, [text])
    else:
        edge.put(text)
    return 0


def research(options: argparse.Namespace) -> int:
    """Write the ward without names into a new folder, with a dictionary of what stands in it."""
    from wardexam.exam.text import counted
    from wardexam.governance.research import KEY, Mask
    from wardexam.records.private_file import secret_key

    ward = edge.ward(options)
    mask = Mask(secret_key(options.key, KEY), options.intervals)
    beds = [*ward.beds(), *ward.beds(discharged=True)]
    ward.record("exported", "ward", edge.examiner(options), "research")
    count, missed = _write_research(ward, sorted(b.patient_id for b in beds), mask, options.folder)
    edge.put(f"{counted(count, 'patient')} written without names to {options.folder}\n")
    for error in missed:
        edge.complain(f"left out: {error}")
    return RecordsError.exit_code if missed else 0


def _write_research(
    ward: "Repository", patients: list[str], mask: "Mask", folder: str
) -> tuple[int, list[WardexamError]]:
    """Write the files of the export; how many patients are in it, and why others are not."""
    import csv
    import json

    from wardexam.exam.text import counted
    from wardexam.governance.dictionary import Entry, columns, dictionary
    from wardexam.governance.research import about, in_order, patient_fact, patient_json, rows_of
    from wardexam.records.private_file import private_folder

    missed: list[WardexamError] = []
    done = 0
    tables = [f"{name}.csv" for name in columns()]
    names = [*tables, "patients.jsonl", "dictionary.csv", "dictionary.json", "ABOUT.txt"]
    with private_folder(folder, names) as out:
        rows = {n: csv.writer(out[f"{n}.csv"], lineterminator="\n") for n in columns()}
        for name, writer in rows.items():
            writer.writerow(columns()[name])
        for patient_id in sorted(patients, key=mask.name):  # in no order of the ward
            try:
                file = ward.file(patient_id)
                fact = patient_fact(file, mask)
                found = list(rows_of(fact, file, mask))
            except WardexamError as error:
                missed.append(error)
                continue
            for name, row in found:
                rows[name].writerow(in_order(name, row))
            out["patients.jsonl"].write(json.dumps(patient_json(fact, mask)) + "\n")
            done += 1
            if done % EACH == 0:
                edge.progress(f"written: {counted(done, 'patient')}")
        if done >= EACH:
            edge.progress("")
        entries = [entry.model_dump() for entry in dictionary()]
        explained = csv.writer(out["dictionary.csv"], lineterminator="\n")
        explained.writerow(Entry.model_fields)
        explained.writerows(entry.values() for entry in entries)
        json.dump(entries, out["dictionary.json"], indent=1)
        out["ABOUT.txt"].write(about(counted(done, "patient"), mask))
    return done, missed
