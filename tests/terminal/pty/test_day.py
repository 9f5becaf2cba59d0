"""A day on the demo ward through the real terminal: admit, examine, re-examine worse, refer, hand over, discharge."""

import io
import shutil
import subprocess
from contextlib import contextmanager
from pathlib import Path

import psycopg
import pytest

from tests.terminal.admitting import EDIT, admission
from tests.terminal.pty.harness import ROOT, Session, environ, flag_keys, kept, running, wardexam
from wardexam.note.handover import WHOLE_HEAD, headline_of
from wardexam.records.archive import read_archive, write_archive
from wardexam.records.postgres.url import is_server
from wardexam.records.ward import open_ward

BED = "D1"
# Left S1 root, two days old; nothing in the saddle, the bladder or the other leg.
MORNING = {
    "context": "w4621\r\r",
    "rows": "m6",  # back pain
    "signs": {
        "knee": "22", "medial_hamstring": "22", "ankle": "20", "plantar": "11", "straight_leg_raise": "01",
        "crossed_leg_raise": "00", "femoral_stretch": "00", "hip_flexion": "55", "knee_extension": "55",
        "ankle_dorsiflexion": "55", "great_toe_extension": "55", "ankle_plantarflexion": "54",
        "pin_L2": "22", "pin_L3": "22", "pin_L4": "22", "pin_L5": "22", "pin_S1": "21", "saddle": "22",
        "perianal": "22", "anal_tone": "2", "anal_squeeze": "2", "bladder": "0", "bowel": "0",
        "post_void_residual": "40\r", "level_pin": "00", "gait": "7",
    },
    # The others are not asked.
    "flags": flag_keys(bladder_bowel="0", saddle_numb="0", both_legs="0", sexual="0"),
}  # fmt: skip
# Both legs, the saddle and the bladder by evening.
EVENING = {
    "context": "",
    "rows": "m6",
    "signs": MORNING["signs"] | {
        "ankle": "00", "straight_leg_raise": "11", "great_toe_extension": "44", "ankle_plantarflexion": "43",
        "pin_S1": "11", "saddle": "11", "perianal": "11", "anal_tone": "1", "anal_squeeze": "1",
        "bladder": "2", "post_void_residual": "450\r", "gait": "0",
    },
    "flags": flag_keys(bladder_bowel="1", saddle_numb="1", both_legs="1", sexual="0"),
}  # fmt: skip


@pytest.fixture(params=["folder", "server"])
def demo(request, tmp_path):
    """The demo ward, as its folder or at a server."""
    shutil.copytree(ROOT / "demo_db" / "ward", tmp_path / "ward")
    (tmp_path / "ward").chmod(0o700)
    if request.param == "folder":
        return str(tmp_path / "ward")
    url = request.getfixturevalue("ward_url")
    archive = io.BytesIO("".join(write_archive(open_ward(tmp_path / "ward"))).encode())
    with ward_at(url) as ward:
        read_archive(ward, archive, by="x", summarise=headline_of)
    return url


@contextmanager
def ward_at(place):
    """The ward at a place."""
    if not is_server(place):
        yield open_ward(Path(place))
        return
    from wardexam.records.postgres.ward import open_server

    ward = open_server(place)
    yield ward
    ward.close()


def entered(place, changes):
    """A condition: so many changes are kept where the ward is, and the screen says so."""
    if not is_server(place):
        return kept(changes)

    def told(session):
        query = "select count(*) from wardexam.draft_lines where number > 0 and line->>'what' <> 'raised'"
        with psycopg.connect(place) as connection:
            count = connection.execute(query).fetchone()[0]
        return "kept " in session.text and count == changes

    return told


def keys(visit):
    return visit["context"] + visit["rows"] + "".join(visit["signs"].values()) + visit["flags"]


def line_of(session: Session, bed: str) -> str:
    return next((line for line in session.lines if line[1:7].rstrip(" *") == bed), "")


def panel(session: Session) -> str:
    """The panel's text, on one line."""
    beside = (line[50:] for line in session.lines[3:-2])
    return " ".join(" ".join([*session.lines[1:3], *beside]).split())


def on_one_line(session: Session) -> str:
    return " ".join(session.text.split())


def shows(session: Session, *texts: str) -> None:
    """Wait until all these stand on the screen, wherever its lines break."""
    session.wait(lambda s: all(text in on_one_line(s) for text in texts))


def in_bed(session: Session, *texts: str, without: str = "\0") -> None:
    """Wait until the line of the patient says all these."""
    session.wait(
        lambda s: all(t in line_of(s, BED) for t in texts) and without not in line_of(s, BED)
    )


@pytest.mark.long
def test_a_day_on_the_ward(demo, tmp_path):
    environment = environ(tmp_path, WARDEXAM_DB=demo)
    with running(wardexam(), environment) as session:
        session.wait("12 patients, by bed")

        # Admitted: nothing is known yet, and the list says that the first examination is due.
        session.type(admission(BED, "Mo Invented", "40-1", "52 male", "back pain"))
        session.wait("Admitted")
        session.type(f"{EDIT}\r\r\r\r\r4\r")
        session.wait("Details saved")
        in_bed(session, "FIRST", "back pain", "?")

        # Morning: one root. Urgent by days, not now; what was not asked stays said.
        session.type("\r" + keys(MORNING))
        session.wait(entered(demo, 54))
        for said in (
            "back or leg pain with a weak leg",
            "left S1 root",
            "32 not asked",
        ):
            session.wait(lambda s, said=said: said in panel(s))
        session.send("s")
        session.wait("NEUROLOGICAL EXAMINATION")
        shows(
            session,
            "Urgency: WITHIN DAYS, due",
            "Back or leg pain with a weak leg",
        )
        session.send("jjjjjjjjjjjj")
        shows(
            session,
            "Red flags not asked: weakness growing; walking lost",
            "Signs alone do not exclude an emergency, nor does a flag answered no.",
        )
        session.send("q")
        session.wait("13 patients")
        in_bed(session, " days ", "in 3h", without="worse")

        # Evening: worse, and now.
        session.send("\r")
        session.wait("New examination")
        session.type(keys(EVENING))
        # The 50 of the doctor and, whenever the reading came, the tool's own alarm.
        session.wait(entered(demo, 50))
        call = "spinal or neurosurgical team on call"
        for said in ("possible cauda equina syndrome", "Within 4 h", call):
            session.wait(lambda s, said=said: said in panel(s))
        session.send("s")
        session.wait("NEUROLOGICAL EXAMINATION")

        # The referral asks the question, with the urgency first and what changed.
        session.send("R")
        session.wait("REFERRAL")
        shows(
            session,
            "Urgency: now, due ",
            "possible cauda equina syndrome",
            "Red flags asked: yes to bladder or bowel; saddle numbness; both legs",
        )
        session.send("jjjjj")
        shows(session, "What changed: ", "residual 40 mL to 450 mL")
        session.send("N" * 6)
        shows(session, "Follow local policy")
        session.send("q")
        session.wait("13 patients")
        in_bed(session, "NOW", "worse")

        # The handover: among the first, why, what changed, what was not asked, when again.
        session.send("H")
        shows(session, "HANDOVER", "1-10 of 13")
        session.quiet()
        shown = [line for line in session.lines if line]
        at = next(n for n, line in enumerate(shown) if line.startswith(BED))
        first, second = shown[at], shown[at + 1]
        assert "NOW WORSE" in first
        assert "possible cauda equina" in first
        assert "exam 3 h" in first
        assert "sphincters" in second
        assert "32 not asked" in second
        beds = [line.split()[0] for line in shown if line[:1] in "ABCD" and line[1:2].isdigit()]
        assert len(beds) == 10
        urgencies = [line[29:].split()[0] for line in shown if line[:2] in beds]
        assert urgencies == sorted(urgencies, key=["NOW", "today", "days", "not", "none"].index)
        # Worse before not worse; this one, with most changed, before the demo's others.
        assert beds[0] == BED
        session.send("q")
        session.wait("13 patients")

        printed = subprocess.run(
            wardexam("handover"), env=environment, cwd=ROOT, capture_output=True, text=True
        ).stdout
        overview, _, reasons = printed.partition(WHOLE_HEAD)
        assert [line for line in overview.splitlines() if line.startswith(BED)] == [first]
        assert f"{BED} Mo Invented, no. 40-1" in reasons.splitlines()

        # Discharged: off the list and the sheet, kept with both examinations, and restored.
        session.type(f"/{BED}\r")
        session.wait("1 of 13 patients,")
        session.type("Dyes\r")
        session.wait("Discharged: D1 Mo Invented; kept under X.")
        session.type("/\r")
        session.wait(lambda s: "12 patients" in s.text and not line_of(s, BED))
        session.send("X")
        in_bed(session, "Mo Invented", "NOW")
        session.send("Xq")
        assert session.ended() == 0

    with ward_at(demo) as ward:
        assert BED not in {b.bed for b in ward.beds()}
        (gone,) = [b for b in ward.beds(discharged=True) if b.bed == BED]
        assert len(ward.examinations(gone.patient_id)) == 2
    after = subprocess.run(
        wardexam("handover"), env=environment, cwd=ROOT, capture_output=True, text=True
    ).stdout
    here, left = after.split("LEFT THE WARD IN THE LAST 24 H, NOT ANSWERED")
    assert "Mo Invented" not in here
    assert "D1 Mo Invented" in left  # what was to be done now was answered by nobody
