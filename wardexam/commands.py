"""The command line: each command a few lines over the folders below.

Imports stay inside the commands, so that each pays for what it uses: the ward opens without the
models, a note prints without the screen.
"""

import argparse
import gc
import os
import sys
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from wardexam import __version__
from wardexam.errors import InputError, RecordsError, WardexamError

if TYPE_CHECKING:
    from wardexam.exam.examination import Examination
    from wardexam.exam.sheet import Sheet
    from wardexam.reasoning.wording import Wording
    from wardexam.records.ward import Ward
    from wardexam.terminal.keymap import Keymap

# When the demo ward's last examination was an hour or two ago (demo_db/scenario.py).
DEMO_NOW = datetime(2026, 3, 4, 14, 0, tzinfo=UTC)

Command = Callable[[argparse.Namespace], int]

EPILOG = """\
examples:
  wardexam                          open the ward
  wardexam demo                     open a throw-away copy of an invented ward
  wardexam beds                     list beds with their identifiers
  wardexam note k3v9p2xq7m          print the last note of that patient
  echo "knee 2/0 ankle 2/2 plantar down/down" | wardexam localise
  wardexam localise --json cases.jsonl

Suggestions are for clinical correlation. They rule nothing out; follow local policy.
"""


def now() -> datetime:
    """The time at the edge, with the zone of the terminal."""
    return datetime.now().astimezone()


def new_id() -> str:
    """A new opaque identifier of 16 letters and digits."""
    import secrets

    return "".join(secrets.choice("abcdefghijkmnpqrstuvwxyz23456789") for _ in range(16))


def _examiner(options: argparse.Namespace) -> str:
    import getpass

    try:
        user = getpass.getuser()
    except (OSError, KeyError):
        user = ""
    return str(options.examiner or os.environ.get("WARDEXAM_EXAMINER") or user or "examiner")[:120]


def _ward(options: argparse.Namespace) -> "Ward":
    from wardexam.records.paths import ward_folder
    from wardexam.records.ward import open_ward

    return open_ward(ward_folder(options.db), shared=options.shared)


def _wording(options: argparse.Namespace) -> "tuple[Wording, str]":
    """The hospital's own words, and why they were refused where they were."""
    from wardexam.records.paths import settings_text

    try:
        found = settings_text("wording", options.wording)
        if found is None:
            return {}, ""
        from wardexam.reasoning.wording import read_wording

        return read_wording(found[1], where=found[0]), ""
    except WardexamError as error:
        return {}, str(error)


def _spoken(options: argparse.Namespace) -> "Wording":
    """The hospital's own words; a refusal is said on stderr and the command goes on without."""
    wording, refusal = _wording(options)
    if refusal:
        _complain(refusal)
    return wording


def _keymap() -> "tuple[Keymap | None, str]":
    """The user's own keys, None for the built-in ones, and why they were refused where they were."""
    from wardexam.records.paths import settings_text

    try:
        found = settings_text("keys")
        if found is None:
            return None, ""
        from wardexam.terminal.keymap import read_keys

        return read_keys(found[1], where=found[0]), ""
    except WardexamError as error:
        return None, str(error)


def _terminal(
    ward: "Ward", options: argparse.Namespace, notice: str = "", clock: Callable[[], datetime] = now
) -> int:
    from wardexam.terminal.environment import prepare

    terminal = prepare(os.environ, ascii_only=options.ascii)
    # Nothing of what is imported now is garbage; the app turns this on again.
    gc.disable()
    from wardexam.terminal.app import WardApp

    wording, refusal = _wording(options)
    keymap, refused = _keymap()
    return WardApp.run_on(
        ward,
        terminal=terminal,
        examiner=_examiner(options),
        now=clock,
        new_id=new_id,
        notice="; ".join(filter(None, (refused, refusal))) or notice,
        keymap=keymap,
        wording=wording,
    )


def open_screen(options: argparse.Namespace) -> int:
    """Open the ward on the screen."""
    return _terminal(_ward(options), options)


def demo(options: argparse.Namespace) -> int:
    """Open a private copy of the demo ward, deleted on leaving; its clock starts with the scenario."""
    import tempfile

    from wardexam.records.paths import copy_demo
    from wardexam.records.ward import open_ward

    begun = now()

    def clock() -> datetime:
        return DEMO_NOW + (now() - begun)

    with tempfile.TemporaryDirectory(prefix="wardexam-demo-") as folder:
        ward = open_ward(copy_demo(Path(folder) / "ward"))
        notice = "Demo: invented patients, thrown away on leaving. Enter examines, ? lists keys."
        return _terminal(ward, options, notice, clock)


def enter(options: argparse.Namespace) -> int:
    """Ask sign by sign on plain lines."""
    from wardexam.terminal.line_mode import converse

    return converse(
        _ward(options),
        examiner=_examiner(options),
        now=now,
        new_id=new_id,
        wording=_spoken(options),
        read=sys.stdin,
        write=sys.stdout,
    )


def beds(options: argparse.Namespace) -> int:
    """List the beds with the patients' identifiers."""
    from wardexam.exam.text import clean

    ward, code = _ward(options), 0
    for bed in ward.beds(discharged=options.discharged):
        urgency = bed.summary.urgency_word if bed.summary else "not examined"
        print(f"{clean(bed.bed):<12} {bed.patient_id}  {urgency}")
        if bed.trouble:
            _complain(bed.trouble)
            code = RecordsError.exit_code
    return code


def _stored(ward: "Ward", patient_id: str) -> "tuple[Examination, ...]":
    """A patient's examinations, oldest first; there is at least one."""
    stored = ward.examinations(patient_id)
    if not stored:
        raise InputError("no examination is stored", where=patient_id, remedy="examine first")
    return stored


def note(options: argparse.Namespace) -> int:
    """Print a stored examination's note."""
    from wardexam.note.note import render
    from wardexam.reasoning.standing import standing
    from wardexam.reasoning.urgency import assess

    ward = _ward(options)
    patient = ward.patient(options.patient)
    stored = _stored(ward, options.patient)
    if options.examination:
        chosen = [e for e in stored if e.id == options.examination]
        if not chosen:
            raise InputError(
                f"no examination '{options.examination}'",
                where=options.patient,
                remedy="known: " + ", ".join(e.id for e in stored),
            )
    else:
        chosen = list(stored[-1:])
    previous = standing(stored, until=chosen[0])
    urgency = assess(chosen[0], previous, None, _spoken(options))
    text = render(
        patient,
        chosen[0],
        previous=previous,
        urgency=urgency,
        form=options.form,
        scale=options.scale,
        line_end={"lf": "\n", "crlf": "\r\n"}[options.ends],
        ascii_only=not options.utf8,
    )
    ward.record("exported", options.patient, _examiner(options))
    sys.stdout.write(text)
    return 0


def referral(options: argparse.Namespace) -> int:
    """Print a referral for a patient's last examination."""
    from wardexam.note import referral as words
    from wardexam.reasoning.standing import standing
    from wardexam.reasoning.urgency import assess

    ward = _ward(options)
    patient = ward.patient(options.patient)
    stored = _stored(ward, options.patient)
    previous = standing(stored, until=stored[-1])
    urgency = assess(stored[-1], previous, None, _spoken(options))
    text = words.render(patient, stored[-1], previous=previous, urgency=urgency)
    ward.record("exported", options.patient, _examiner(options))
    sys.stdout.write(text)
    return 0


def handover(options: argparse.Namespace) -> int:
    """Print the handover sheet of the ward."""
    from wardexam.note import handover as sheet

    ward = _ward(options)
    beds = ward.beds()
    rows = [
        (ward.patient(bed.patient_id), ward.examinations(bed.patient_id), bed.summary)
        for bed in beds
        if not bed.trouble
    ]
    text = sheet.render(rows, now=now(), wording=_spoken(options)) + sheet.left_out(beds)
    ward.record("exported", "ward", _examiner(options))
    sys.stdout.write(text)
    return 0


def figure(options: argparse.Namespace) -> int:
    """Draw a patient's last examination as an SVG picture."""
    from wardexam.note.svg import render

    ward = _ward(options)
    stored = _stored(ward, options.patient)
    text = render(ward.patient(options.patient), stored[-1])
    ward.record("exported", options.patient, _examiner(options))
    sys.stdout.write(text)
    return 0


def _sheets(options: argparse.Namespace) -> list[tuple[str, "Sheet | WardexamError"]]:
    """Every sheet of the input with the place it came from; a refused one as its error."""
    import json

    from wardexam.exam.sheet import read_sheet
    from wardexam.exam.typed import read_line

    if options.signs:
        text, name = options.signs, "--signs"
    elif options.file in (None, "-"):
        if sys.stdin.isatty():
            print("Type findings, a line each; end with Ctrl-D.", file=sys.stderr)
        text, name = sys.stdin.read(), "standard input"
    else:
        try:
            text, name = Path(options.file).read_text(encoding="utf-8"), options.file
        except (OSError, UnicodeDecodeError) as error:
            reason = error.strerror if isinstance(error, OSError) else "not UTF-8 text"
            raise InputError(f"cannot be read: {reason}", where=options.file) from None
    whole = text.lstrip().startswith("{")
    if whole:
        try:
            json.loads(text)
        except json.JSONDecodeError as error:
            whole = not error.msg.startswith("Extra data")
        except RecursionError:
            raise InputError("nested too deeply", where=name) from None
    pieces = (
        [(name, text)]
        if whole
        else [
            (f"{name}, line {n}", line)
            for n, line in enumerate(text.splitlines(), 1)
            if line.strip()
        ]
    )
    found: list[tuple[str, Sheet | WardexamError]] = []
    for place, piece in pieces or [(name, "{}")]:
        try:
            found.append(
                (place, (read_sheet if piece.lstrip().startswith("{") else read_line)(piece))
            )
        except WardexamError as error:
            found.append((place, error))
    return found


def localise(options: argparse.Namespace) -> int:
    """Rank the sites that fit the findings, without a screen."""
    import json
    from dataclasses import asdict

    from wardexam import ready
    from wardexam.exam.text import clean
    from wardexam.note.suggestion import CAUTION, reading_lines
    from wardexam.reasoning.urgency import assess

    code = 0
    engine = None
    wording = _spoken(options)
    for place, sheet in _sheets(options):
        try:
            if isinstance(sheet, WardexamError):
                raise sheet
            examination = sheet.examination()
            engine = engine or ready.engine()
            reading = engine.read(examination)
            urgency = assess(examination, None, reading, wording)
        except WardexamError as error:
            _complain(f"{place}: {error}")
            code = error.exit_code
            continue
        if options.json:
            answer: dict[str, Any] = {"id": sheet.id, **asdict(reading)}
            answer["urgency"] = asdict(urgency)
            answer["caution"] = CAUTION
            print(json.dumps(answer, ensure_ascii=True, default=str))
        else:
            if sheet.id:
                print(f"== {clean(sheet.id)}")
            print("\n".join([*_urgency_lines(urgency), *reading_lines(reading), ""]))
    return code


def _urgency_lines(urgency: Any) -> list[str]:
    from wardexam.note.note import urgency_lines

    return list(urgency_lines(urgency))


def keys(options: argparse.Namespace) -> int:
    """Print the keys in force as a keys file."""
    from wardexam.terminal.keymap import as_toml
    from wardexam.terminal.keys import SCREENS

    keymap, refused = _keymap()
    print(as_toml(keymap or SCREENS), end="")
    if refused:
        raise InputError(refused)
    return 0


def schema(options: argparse.Namespace) -> int:
    """Print the JSON Schema of what localise reads."""
    import json

    from wardexam.exam.sheet import sheet_schema

    print(json.dumps(sheet_schema(), indent=2))
    return 0


def check(options: argparse.Namespace) -> int:
    """Verify the store; repair only when told."""
    from wardexam.records.check import check_store
    from wardexam.records.paths import ward_folder

    report = check_store(
        ward_folder(options.db),
        repair=options.repair,
        by=_examiner(options),
        at=now(),
        shared=options.shared,
    )
    for line in report.lines:
        print(line)
    return 0 if report.sound else 1


def export(options: argparse.Namespace) -> int:
    """Write a ward or one patient as an archive, or the findings as CSV."""
    from wardexam.records import archive

    ward = _ward(options)
    write = archive.write_csv if options.csv else archive.write_archive
    ward.record("exported", options.patient or "ward", _examiner(options))
    for line in write(ward, patients=[options.patient] if options.patient else None):
        sys.stdout.write(line)
    return 0


def _progress(doing: str, patients: int) -> None:
    """How far an import is, on a terminal's error output."""
    if sys.stderr.isatty():
        print(f"\r{doing}: {patients} patients", end="", file=sys.stderr, flush=True)


def import_(options: argparse.Namespace) -> int:
    """Read an archive into the ward: all of it or nothing."""
    from wardexam.note.handover import headline_of
    from wardexam.records import archive

    try:
        with open(options.file, "rb") as source:
            result = archive.read_archive(
                _ward(options),
                source,
                by=_examiner(options),
                dry_run=options.dry_run,
                summarise=headline_of,
                progress=_progress,
            )
    except OSError as error:
        raise InputError(f"cannot be read: {error.strerror}", where=options.file) from None
    if sys.stderr.isatty():
        print(file=sys.stderr)
    verb = "would be added" if options.dry_run else "added"
    print(f"{result.patients} patients and {result.examinations} examinations {verb}")
    return 0


def parser(*, commands: bool = True) -> argparse.ArgumentParser:
    """The command line's grammar; without the commands it is made faster."""
    plain = argparse.RawDescriptionHelpFormatter
    top = argparse.ArgumentParser(
        prog="wardexam",
        epilog=EPILOG,
        formatter_class=plain,
        description="The bedside neurological examination at the terminal.",
    )
    top.add_argument("--version", action="version", version=f"wardexam {__version__}")
    common = argparse.ArgumentParser(add_help=False)
    for target in (top, common):
        default = None if target is top else argparse.SUPPRESS
        target.add_argument(
            "--db",
            metavar="FOLDER",
            default=default,
            help="the ward's folder (else WARDEXAM_DB, else your data folder)",
        )
        target.add_argument(
            "--examiner",
            metavar="NAME",
            default=default,
            help="who examines (else WARDEXAM_EXAMINER, else your login)",
        )
        target.add_argument(
            "--shared",
            action="store_true",
            default=False if target is top else argparse.SUPPRESS,
            help="a ward account's folder: readable by its group",
        )
        target.add_argument(
            "--ascii",
            action="store_true",
            default=False if target is top else argparse.SUPPRESS,
            help="draw with plain ASCII characters only",
        )
        target.add_argument(
            "--wording",
            metavar="FILE",
            default=default,
            help="the hospital's own words for urgency (else WARDEXAM_WORDING, else wording.toml in your settings folder)",
        )
    top.set_defaults(command=open_screen)
    if not commands:
        return top
    grammars = top.add_subparsers(title="commands", metavar="COMMAND")

    def add(name: str, command: Command, help_: str, example: str) -> argparse.ArgumentParser:
        sub = grammars.add_parser(
            name,
            parents=[common],
            help=help_,
            description=help_,
            formatter_class=plain,
            epilog=f"example:\n  {example}",
        )
        sub.set_defaults(command=command)
        return sub

    add("demo", demo, "Open a throw-away copy of an invented ward.", "wardexam demo")
    add(
        "enter",
        enter,
        "Examine on plain lines, for a screen reader or where a full screen is impossible.",
        "wardexam enter",
    )
    sub = add(
        "beds", beds, "List beds with the identifiers that other commands take.", "wardexam beds"
    )
    sub.add_argument("--discharged", action="store_true", help="list discharged patients instead")
    sub = add(
        "note", note, "Print a stored examination's note.", "wardexam note k3v9p2xq7m --form line"
    )
    sub.add_argument("patient", metavar="PATIENT", help="identifier, as listed by 'wardexam beds'")
    sub.add_argument("--examination", metavar="ID", help="which examination (default: the last)")
    sub.add_argument(
        "--form",
        choices=["table", "line", "figure"],
        default="table",
        help="reflexes as a table, one line, or a figure of the body",
    )
    sub.add_argument(
        "--scale",
        choices=["conventional", "ninds", "plus"],
        help="show tendon reflexes on this scale (default: as graded)",
    )
    sub.add_argument("--ends", choices=["lf", "crlf"], default="lf", help="line ends")
    sub.add_argument(
        "--utf8", action="store_true", help="keep characters outside ASCII in names and comments"
    )
    sub = add(
        "referral",
        referral,
        "Print a referral: situation, background, assessment, recommendation.",
        "wardexam referral k3v9p2xq7m",
    )
    sub.add_argument("patient", metavar="PATIENT", help="identifier, as listed by 'wardexam beds'")
    add(
        "handover",
        handover,
        "Print the ward's handover sheet, sickest and most changed first.",
        "wardexam handover",
    )
    sub = add(
        "figure",
        figure,
        "Draw a patient's last examination as an SVG picture.",
        "wardexam figure k3v9p2xq7m > figure.svg",
    )
    sub.add_argument("patient", metavar="PATIENT", help="identifier, as listed by 'wardexam beds'")
    sub = add(
        "localise",
        localise,
        "Rank the sites that fit findings, without a screen.",
        'echo "knee 2/0 ankle 2/0 plantar down/up" | wardexam localise',
    )
    sub.description = (
        "Reads findings as JSON (one document, or one a line) or as typed lines, where two answers\n"
        "with a slash are the patient's right and left. 'wardexam schema' prints the form of the JSON."
    )
    sub.add_argument(
        "file", nargs="?", metavar="FILE", help="file to read, or - for standard input (default)"
    )
    sub.add_argument("--signs", metavar="LINE", help="a typed line instead of a file")
    sub.add_argument("--json", action="store_true", help="answer in JSON, a line for each sheet")
    add(
        "schema",
        schema,
        "Print the JSON Schema of what localise reads.",
        "wardexam schema > sheet.schema.json",
    )
    add(
        "keys",
        keys,
        "Print the keys as a keys file, to be changed and kept as keys.toml.",
        "wardexam keys > ~/.config/wardexam/keys.toml",
    )
    sub = add(
        "check", check, "Verify the store and its audit trail; say what is wrong.", "wardexam check"
    )
    sub.add_argument(
        "--repair",
        action="store_true",
        help="repair what can be repaired; damaged files are kept aside",
    )
    sub = add(
        "export",
        export,
        "Write the ward, or one patient, as a JSON Lines archive.",
        "wardexam export > ward.jsonl",
    )
    sub.add_argument("--patient", metavar="PATIENT", help="one patient only")
    sub.add_argument("--csv", action="store_true", help="the findings as CSV, for audit")
    sub = add(
        "import",
        import_,
        "Add an archive to the ward: all of it or nothing.",
        "wardexam import --dry-run ward.jsonl",
    )
    sub.add_argument("file", metavar="FILE", help="the archive")
    sub.add_argument(
        "--dry-run", action="store_true", help="say what would be added, change nothing"
    )
    return top


def _complain(text: str) -> None:
    """An error as one line on stderr; what it quotes cannot move the cursor."""
    from wardexam.exam.text import clean

    print(f"wardexam: {clean(text)}", file=sys.stderr)


def run(arguments: list[str]) -> int:
    """Run one command.

    Returns:
        0 done; 1 a fault; 2 bad input or usage; 3 the store; 130 interrupted.
    """
    # The ward opens sooner when the grammar of every command need not be made for it.
    bare = not arguments or (arguments[0] == "--db" and len(arguments) == 2)
    options = parser(commands=not bare).parse_args(arguments)
    command: Command = options.command
    try:
        return command(options)
    except WardexamError as error:
        _complain(str(error))
        return error.exit_code
    except KeyboardInterrupt:
        return 130
    except BrokenPipeError:
        # The reader of a pipe has left; point stdout nowhere so that its closing stays quiet.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except Exception as error:
        return _fault(error)


def _fault(error: Exception) -> int:
    """A fault of the program as one line: where it is, and nothing that it was working on."""
    import traceback

    frames = traceback.extract_tb(error.__traceback__)
    ours = [f for f in frames if "wardexam" in f.filename] or frames
    place = f" at {os.path.basename(ours[-1].filename)} line {ours[-1].lineno}" if ours else ""
    _complain(f"a fault of the program ended it ({type(error).__name__}{place})")
    if os.environ.get("WARDEXAM_TRACEBACK") == "1":
        print("".join(traceback.format_tb(error.__traceback__)), end="", file=sys.stderr)
    return 1
