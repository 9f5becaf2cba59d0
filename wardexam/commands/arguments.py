"""The command line's grammar: each command with the options that act in it, and no other."""

import argparse
import sys
from collections.abc import Callable
from itertools import pairwise
from typing import TYPE_CHECKING, Any

from wardexam import __version__
from wardexam.commands import edge, screens
from wardexam.errors import InputError

if TYPE_CHECKING:
    from _typeshed import SupportsWrite

Command = Callable[[argparse.Namespace], int]

EPILOG = """\
examples:
  wardexam                          open the ward
  wardexam demo                     open a throw-away copy of an invented ward
  wardexam demo --tour              be led through one examination there
  wardexam beds                     list beds with their identifiers
  wardexam note k3v9p2xq7m          print the last note of that patient
  echo "knee 2/2 ankle 2/0 plantar down/down ankle_plantarflexion 5/4" | wardexam localise
  wardexam localise --json cases.jsonl

environment, where no option says it:
  WARDEXAM_DB           the ward's folder, or a server's URL
  WARDEXAM_EXAMINER     who examines
  WARDEXAM_WORDING      a file with the hospital's own words for urgency
  WARDEXAM_FHIR         a file with the hospital's own codes for 'export --fhir'
  WARDEXAM_KEYS         a file with your own keys ('wardexam keys' prints one)
  WARDEXAM_ASCII        on or off: draw with plain ASCII characters only
  WARDEXAM_MOUSE        on or off: take the mouse (off over a network)
  WARDEXAM_BACKGROUND   dark or light: the terminal's background
  WARDEXAM_HIGH_CONTRAST  on or off: no colours, nothing dim
  WARDEXAM_SETTINGS     the settings file, in the place of those below
  WARDEXAM_TRACEBACK    1: say where in the program a fault was
  NO_COLOR, TERM, COLORTERM, COLORFGBG, LC_ALL, LC_CTYPE, LANG, ESCDELAY as everywhere

settings, where neither says it: settings.toml in your settings folder, then in the
host's: store, shared, examiner, ascii, mouse, background, high_contrast.
'wardexam settings' prints what is in force and where each came from.

Suggestions are for clinical correlation. They rule nothing out; follow local policy.
"""

PRACTISE = """\
The tool draws a patient; you test by name, each test takes its seconds, and you
commit to place, side, urgency, first action and how sure you are. Then you hear
what it was, and your way beside the tool's own. ? helps at every question.

Practice patients are no real ones and no evidence: they come from the tool's
own model. Nothing is written into a ward; results stay in your own folder."""

INJURY = """\
Classifies a suspected spinal cord injury by the international standard, 2019
revision, from light touch, pinprick, key muscles, anal contraction and anal
pressure. Reads typed lines or JSON, or the sheet saved last of a patient.

A suggestion for senior review, not for unchecked clinical use: it follows the
2019 revision as far as its sources could be read, and says of each result which
rule decided and how well it is known. What is not entered is unknown, never
normal; then every result that remains is given."""

INJURY_EXAMPLE = """\
a sheet:
  right light touch: 2 to T9, 1 to T12, 0   ranges, the last one to S4-5; or
                                            shorter: 2t9, 1t12, 0
  left light touch: 2 to T9, 0, T11 1       a single segment goes before ranges
  pinprick: 2 to T9, 0                      both sides where none is said
  motor right: 5 5 5 5 5 / 0 0 0 0 0        C5 to T1, then L2 to S1
  motor left: 5 5 5 5 5 / 0 0 NT 0* 0       not testable; * not from the injury
  vac no                                    voluntary anal contraction
  dap no                                    deep anal pressure
  movement right L4                         outside the key muscles, or none;
                                            left out it is unknown
  count left motor L5 as normal: fracture   or as examined: how a * is to count
  earlier deficit yes                       on record, from an earlier injury
  id: A1
  comment: any words

example:
  wardexam injury sheet.txt
  wardexam injury A3                        the sheet saved last of that bed
  wardexam injury --json sheet.txt
  wardexam injury --to-signs A3 | wardexam localise
  wardexam injury --from-signs examination.txt > sheet.txt"""

OUTCOME = """\
Records what it was in the end, also of discharged patients, or prints it where
nothing is given. A further revision keeps what is not given again; - takes a
field away; what was recorded before stays in the patient's file.

"""

STORE_ON_SERVER = """\
create    make the database, the tables and the roles; as the owner
migrate   bring them to the form that this program needs; as the owner
check     say what the server is, and what is wrong with it
move      FROM TO: move the whole ward, each a folder or a URL

The URL is postgresql://host/database, or service=name of the service file. A
password stands in ~/.pgpass, the service file or the environment, never on the
command line. A host that is not this one must show a certificate that is
trusted here, unless the URL or the service file says otherwise (sslmode).

A move takes all that a backup holds, trail and drafts included, into a place
where no ward stands, reads it back, and compares it to the byte. Nobody saves
meanwhile. The ward that was left stays, and says to whoever opens it where it
went. Where a move died on its way, the same command again completes it."""

EXPORT = """\
Writes the ward, or one patient, as a JSON Lines archive: the present details,
every revision of examinations, cord injury sheets and outcomes. Left out: the
audit trail, the drafts, and earlier details; 'wardexam backup' writes all."""

BACKUP = """\
Writes every revision of details, examinations, cord injury sheets and outcomes,
the whole audit trail and every draft, as they stand at one moment, with counts
and a checksum at the end. The file holds names: only you can read it. Of one
state every backup is the same to the byte. 'wardexam restore' reads it.

Left out: what lies beside the ward's records, such as files that a repair set
aside, and what each doctor keeps in a folder of their own."""

RESTORE = """\
Reads the whole backup first, and refuses one that was cut or changed. It goes
where no ward stands: a folder that is not there or is empty, or the tables that
'wardexam store create' has made. What was restored is read back and compared
with the backup before it takes its place. The audit trail comes as it was."""

# What more than one command takes. One that has no use for an option does not take it.
SHARED_OPTIONS: dict[str, dict[str, Any]] = {
    "db": {
        "metavar": "WARD",
        "help": "the ward's folder, or a server's URL (else WARDEXAM_DB, else your settings, else your data folder)",
    },
    "examiner": {
        "metavar": "NAME",
        "help": "who examines (else WARDEXAM_EXAMINER, else your settings, else your login)",
    },
    "shared": {
        "action": "store_true",
        "help": "a ward account's folder: readable by its group",
    },
    "ascii": {
        "action": "store_true",
        "help": "draw with plain ASCII characters only",
    },
    "wording": {
        "metavar": "FILE",
        "help": "the hospital's own words for urgency (else WARDEXAM_WORDING, else wording.toml in your settings folder)",
    },
}
BUILT_IN = ("help", "version")
STORE = ("db", "shared")
PAPER = (*STORE, "examiner", "wording")
PATIENT: dict[str, Any] = {
    "metavar": "PATIENT",
    "help": "identifier as listed by 'wardexam beds', the hospital's number, or the bed",
}
AS_JSON: dict[str, Any] = {
    "action": "store_true",
    "help": "answer in a line of JSON; 'wardexam schema' prints its form",
}


class Grammar(argparse.ArgumentParser):
    """A grammar whose help and errors, which quote what was given, leave through our door.

    An option is written out: a shortened one could mean another in the next version.

    Attributes:
        names: The commands that it takes.
    """

    def __init__(self, **options: Any) -> None:
        super().__init__(**options, allow_abbrev=False)
        self.names: list[str] = []

    def _print_message(self, message: str, file: "SupportsWrite[str] | None" = None) -> None:
        if file is sys.stdout:
            edge.put(message)
        else:
            edge.remark(message)

    def take(self, *names: str, **more: Any) -> None:
        """Take some of the shared options."""
        for name in names:
            self.add_argument(f"--{name}", **SHARED_OPTIONS[name], **more)


def parse(arguments: list[str]) -> argparse.Namespace:
    """What the command line says: the command to run, and its options.

    Raises:
        InputError: An argument is empty, there is no such command, or an option before it does nothing there.
        SystemExit: Help was asked for, or the rest is refused; what there is to say is said.
    """
    _none_is_empty(arguments)
    # The ward opens sooner when the grammar of every command need not be made for it.
    bare = not arguments or (arguments[0] == "--db" and len(arguments) == 2)
    grammar = parser(commands=not bare)
    command = None if bare else _command_of(arguments, grammar.names)
    options = grammar.parse_args(arguments)
    for name in SHARED_OPTIONS:
        if getattr(options, name) and name not in options.takes:
            raise InputError(f"--{name} does nothing here", command or "", "leave the option out")
    return options


def _none_is_empty(arguments: list[str]) -> None:
    """Refuse an empty argument, as of a script's variable that was never set: left out it would mean another, or the whole ward.

    Raises:
        InputError: One is empty; names the option, or what stands before it.
    """
    for before, given in pairwise(["wardexam", *arguments]):
        option, equals, value = given.partition("=")
        if not given or (given.startswith("--") and equals and not value):
            raise InputError("an argument is empty", option or before, "give it, or leave it out")


def _command_of(arguments: list[str], names: list[str]) -> str | None:
    """The command that is meant: the first argument that is neither an option nor the value of one.

    Raises:
        InputError: There is no such command, or no such option before it.
    """
    words = iter(arguments)
    for word in words:
        option, equals, _ = word.removeprefix("--").partition("=")
        if not word.startswith("-") or word == "-":
            _one_of("command", word, names)
            return word
        if word.startswith("--") and option:
            _one_of("option", f"--{option}", [f"--{n}" for n in (*SHARED_OPTIONS, *BUILT_IN)])
            if not equals and "metavar" in SHARED_OPTIONS.get(option, {}):
                next(words, None)
    return None


def _one_of(kind: str, word: str, known: list[str]) -> None:
    """Refuse a word that is not known, with those that are near it."""
    if word not in known:
        import difflib

        near = ", ".join(difflib.get_close_matches(word, known, cutoff=0.5))
        raise InputError(
            f"there is no {kind} '{word}'" + (f"; did you mean {near}?" if near else ""),
            remedy=f"'wardexam --help' lists the {kind}s",
        )


def parser(*, commands: bool = True) -> Grammar:
    """The command line's grammar; without the commands it is made faster."""
    plain = argparse.RawDescriptionHelpFormatter
    top = Grammar(
        prog="wardexam",
        epilog=EPILOG,
        formatter_class=plain,
        description="The bedside neurological examination at the terminal.",
    )
    top.add_argument("--version", action="version", version=f"wardexam {__version__}")
    top.take(*SHARED_OPTIONS)
    top.set_defaults(command=screens.open_screen, takes=tuple(SHARED_OPTIONS))
    if not commands:
        return top
    from wardexam.commands import (
        audit,
        backup,
        governing,
        injury,
        localising,
        marking,
        outcome,
        papers,
        practising,
        server,
        settings,
        shell,
        store,
    )
    from wardexam.exam.act_kinds import ACT_KINDS

    grammars = top.add_subparsers(title="commands", metavar="COMMAND")

    def add(
        name: str, command: Command, help_: str, example: str, takes: tuple[str, ...] = ()
    ) -> Grammar:
        sub = grammars.add_parser(
            name,
            help=help_,
            description=help_,
            formatter_class=plain,
            epilog=f"example:\n  {example}",
        )
        # Where it is not given here, what was given before the command stands.
        sub.take(*takes, default=argparse.SUPPRESS)
        sub.set_defaults(command=command, takes=takes)
        top.names.append(name)
        return sub

    def add_of_patient(
        name: str, command: Command, help_: str, example: str, takes: tuple[str, ...] = PAPER
    ) -> Grammar:
        """A command about one patient."""
        sub = add(name, command, help_, f"wardexam {name} k3v9p2xq7m{example}", takes)
        sub.add_argument("patient", **PATIENT)
        return sub

    sub = add(
        "demo",
        screens.demo,
        "Open a throw-away copy of an invented ward.",
        "wardexam demo --tour",
        takes=("examiner", "ascii", "wording"),
    )
    sub.add_argument(
        "--tour",
        action="store_true",
        help="be led through one examination, in ten steps that you type yourself",
    )
    add(
        "enter",
        screens.enter,
        "Examine on plain lines, for a screen reader or where a full screen is impossible.",
        "wardexam enter",
        takes=PAPER,
    )
    sub = add(
        "practise",
        practising.practise,
        "Practise on invented patients, or published ones; no ward is opened.",
        "wardexam practise --level 2 --seed 17",
    )
    sub.description = PRACTISE
    sub.add_argument(
        "--level", type=int, metavar="N", help="1 classic, 2 partial, 3 mimics (default: 1)"
    )
    sub.add_argument(
        "--seed", type=int, metavar="N", help="the case with this number, and those after it"
    )
    of = sub.add_mutually_exclusive_group()
    of.add_argument(
        "--published",
        metavar="CASE",
        nargs="?",
        const="",
        help="published examinations, each with its source, from CASE on",
    )
    of.add_argument("--progress", action="store_true", help="say how you do over all cases")
    of.add_argument(
        "--export",
        metavar="FILE",
        help="write your results as CSV, or as JSON to a name in .json; - for standard output",
    )
    sub.add_argument("--json", action="store_true", help="with --export: as JSON")
    sub = add(
        "beds",
        papers.beds,
        "List beds with the identifiers that other commands take.",
        "wardexam beds",
        takes=STORE,
    )
    sub.add_argument("--discharged", action="store_true", help="list discharged patients instead")
    sub.add_argument("--json", **AS_JSON)
    sub = add_of_patient("note", papers.note, "Print a stored examination's note.", " --form line")
    sub.add_argument("--examination", metavar="ID", help="which examination (default: the last)")
    sub.add_argument(
        "--form",
        choices=["sentences", "table", "line", "figure"],
        default="sentences",
        help="with the reflexes also as a table, one line, or a figure of the body",
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
    add_of_patient(
        "referral",
        papers.referral,
        "Print a referral: situation, background, assessment, recommendation.",
        "",
    )
    sub = add(
        "handover",
        papers.handover,
        "Print the ward's handover sheet, sickest and most changed first.",
        "wardexam handover",
        takes=PAPER,
    )
    sub.add_argument("--json", **AS_JSON)
    sub = add_of_patient(
        "act",
        papers.act,
        "Print why a patient is urgent and by when, or write what was done about one of the reasons.",
        " cauda_equina asked MRI lumbosacral",
    )
    sub.add_argument(
        "rule",
        metavar="REASON",
        nargs="?",
        help="which of the reasons, as it prints them; several with commas",
    )
    sub.add_argument("kind", nargs="?", choices=ACT_KINDS, help="what was done")
    sub.add_argument(
        "what", metavar="WORDS", nargs="*", help="whom, which image, what it showed, or why"
    )
    sub.set_defaults(kinds=ACT_KINDS)
    sub = add_of_patient(
        "mark",
        marking.mark,
        "List a patient's examinations, or mark one that was entered in error: it is kept, and counts no more.",
        ' exam0001 --identity 40-3317 --why "wrong patient"',
    )
    sub.add_argument(
        "examination", nargs="?", metavar="ID", help="which examination, as it lists them"
    )
    sub.add_argument(
        "--identity",
        metavar="WHO",
        help="the hospital's number of the patient again (else the birth date, else the name): marks",
    )
    sub.add_argument("--why", metavar="WORDS", help="why; every paper of it says so")
    sub.add_argument(
        "--take-back", action="store_true", help="take a mark back: the examination counts again"
    )
    sub = add(
        "outcome",
        outcome.outcome,
        "Record what it was in the end, or print it: image, final site and diagnosis.",
        'wardexam outcome B2 --positive yes --site cauda --diagnosis "L4/5 disc"',
        takes=(*STORE, "examiner"),
    )
    sub.description = OUTCOME + outcome.sites()
    sub.add_argument("patient", nargs="?", **PATIENT)
    sub.add_argument(
        "--imaged", metavar="TIME", help="when the image was done: 14:30, or with the day"
    )
    sub.add_argument("--image", metavar="WORDS", help="what it showed")
    sub.add_argument(
        "--positive", metavar="yes|no", help="whether it showed what needed action, as compression"
    )
    sub.add_argument("--site", metavar="SITE", help="where the lesion was, as listed above")
    sub.add_argument("--side", metavar="SIDE", help="right, left, both or midline")
    sub.add_argument("--diagnosis", metavar="WORDS", help="the final diagnosis")
    sub.add_argument("--by", metavar="NAME", help="who says so (else who records it)")
    sub.add_argument("--why", metavar="WORDS", help="why it is recorded again")
    sub.add_argument(
        "--file",
        metavar="FILE",
        help="record those of a file, or - for standard input: CSV or a JSON object a line, with the columns"
        " patient, imaged, image, positive, site, side, diagnosis, by, why",
    )
    sub.add_argument("--dry-run", action="store_true", help="of a file: say what would be recorded")
    sub = add(
        "audit",
        audit.audit,
        "Print the ward's own figures for a period: how complete, how soon, how right.",
        "wardexam audit --from 2026-01-01 --to 2026-03-31",
        takes=(*STORE, "examiner"),
    )
    sub.add_argument(
        "--from",
        dest="since",
        metavar="DAY",
        help="the first day (default: a year before the last)",
    )
    sub.add_argument("--to", dest="until", metavar="DAY", help="the last day (default: today)")
    form = sub.add_mutually_exclusive_group()
    form.add_argument("--csv", action="store_true", help="as CSV, a row for each figure")
    form.add_argument(
        "--patients", action="store_true", help="as CSV, a row for each patient, by opaque name"
    )
    form.add_argument("--svg", action="store_true", help="as a picture of one page")
    sub = add(
        "agreement",
        audit.agreement,
        "Print two doctors' examinations side by side, or over the ward how well two doctors agree.",
        "wardexam agreement B2",
        takes=(*STORE, "examiner"),
    )
    sub.add_argument("patient", nargs="?", **PATIENT)
    sub.add_argument(
        "examinations",
        nargs="*",
        metavar="ID",
        help="which two (default: the last, and the last before by another doctor)",
    )
    sub.add_argument(
        "--hours",
        type=float,
        metavar="HOURS",
        help="over the ward: at most so far apart (default: 4)",
    )
    sub.add_argument("--from", dest="since", metavar="DAY", help="over the ward: the first day")
    sub.add_argument("--to", dest="until", metavar="DAY", help="over the ward: the last day")
    sub.add_argument(
        "--csv", action="store_true", help="over the ward: as CSV, a row for each sign"
    )
    add_of_patient(
        "figure",
        papers.figure,
        "Draw a patient's last examination as an SVG picture.",
        " > figure.svg",
        takes=(*STORE, "examiner"),
    )
    sub = add(
        "localise",
        localising.localise,
        "Rank the sites that fit findings, without a screen.",
        'echo "knee 2/2 ankle 2/0 plantar down/down ankle_plantarflexion 5/4" | wardexam localise',
        takes=("wording",),
    )
    sub.description = (
        "Reads findings as JSON (one document, or one a line) or as typed lines, where two answers\n"
        "with a slash are the patient's right and left. 'wardexam schema' prints the form of the JSON.\n"
        "A line may tell more: age=63 onset=days pain=back flag:cancer=yes plantar known:up/down knee nt:pain/2"
    )
    sub.add_argument(
        "file", nargs="?", metavar="FILE", help="file to read, or - for standard input (default)"
    )
    sub.add_argument("--signs", metavar="LINE", help="a typed line instead of a file")
    form = sub.add_mutually_exclusive_group()
    form.add_argument("--json", action="store_true", help="answer in JSON, a line for each sheet")
    form.add_argument("--csv", action="store_true", help="answer in CSV, a line for each site")
    sub = add(
        "injury",
        injury.injury,
        "Classify a spinal cord injury from its scores: levels, impairment scale, zones.",
        "wardexam injury sheet.txt",
        takes=(*STORE, "examiner"),
    )
    sub.description = INJURY
    sub.epilog = INJURY_EXAMPLE
    sub.add_argument(
        "sheet",
        nargs="?",
        metavar="SHEET",
        help="file to read, or - for standard input (default); or a patient, for the sheet saved last: identifier, the hospital's number, or the bed",
    )
    form = sub.add_mutually_exclusive_group()
    form.add_argument("--json", action="store_true", help="answer in JSON")
    form.add_argument(
        "--from-signs",
        action="store_true",
        help="read an ordinary examination as 'localise' does, and print the sheet it begins",
    )
    form.add_argument(
        "--to-signs",
        action="store_true",
        help="print the scores as findings, for 'wardexam localise'",
    )
    sub = add(
        "schema",
        localising.schema,
        "Print the JSON Schema of what localise reads.",
        "wardexam schema > sheet.schema.json",
    )
    of = sub.add_mutually_exclusive_group()
    of.add_argument(
        "--answer", action="store_true", help="of what 'localise --json' answers instead"
    )
    of.add_argument("--injury", action="store_true", help="of what 'injury' reads instead")
    of.add_argument(
        "--research", action="store_true", help="of a line of patients.jsonl of 'research' instead"
    )
    of.add_argument(
        "--incident", action="store_true", help="of what 'incident --json' writes instead"
    )
    of.add_argument(
        "--hazards", action="store_true", help="of what 'hazards --json' prints instead"
    )
    of.add_argument(
        "--outcome", action="store_true", help="of a line of what 'outcome --file' reads instead"
    )
    for name in ("beds", "check", "import", "handover"):
        of.add_argument(
            f"--{name}",
            action="store_const",
            const=name,
            dest="of",
            help=f"of what '{name} --json' answers instead",
        )
    of.add_argument(
        "--fhir-codes", action="store_true", help="print our code system as a FHIR resource instead"
    )
    add(
        "keys",
        screens.keys,
        "Print the keys as a keys file, to be changed and kept as keys.toml.",
        "wardexam keys > ~/.config/wardexam/keys.toml",
    )
    add(
        "settings",
        settings.settings,
        "Print the settings in force, and where each came from.",
        "wardexam settings",
        takes=(*STORE, "examiner", "ascii"),
    )
    sub = add(
        "completion",
        shell.completion,
        "Print what a shell needs to complete commands and options.",
        "wardexam completion bash > ~/.local/share/bash-completion/completions/wardexam",
    )
    sub.add_argument("shell", choices=list(shell.NAMES), help="which shell")
    add("manual", shell.manual, "Print the manual page.", "wardexam manual | man -l -")
    sub = add(
        "check",
        store.check,
        "Verify the store and its audit trail; say what is wrong.",
        "wardexam check",
        takes=(*STORE, "examiner"),
    )
    sub.add_argument(
        "--repair",
        action="store_true",
        help="repair what can be repaired; damaged files are kept aside",
    )
    sub.add_argument("--json", **AS_JSON)
    sub.add_argument(
        "--trail",
        metavar="LINE:HASH",
        help="the head of the audit trail as a handover printed it; is the trail still that one?",
    )
    sub = add(
        "hazards",
        governing.hazards,
        "Print the hazard log, who owns the rules and when their review is due, and what is switched off here.",
        "wardexam hazards cauda_equina",
        takes=("wording",),
    )
    sub.add_argument(
        "hazard",
        nargs="?",
        metavar="NAME",
        help="one hazard, or that of an urgency rule (default: all)",
    )
    sub.add_argument("--json", action="store_true", help="as JSON")
    sub = add_of_patient(
        "incident",
        governing.incident,
        "Write what was entered and said in one examination, by which version, without names.",
        " --json --file incident.json",
    )
    sub.add_argument(
        "examination", nargs="?", metavar="ID", help="which examination (default: the last)"
    )
    sub.add_argument("--json", action="store_true", help="as JSON")
    sub.add_argument(
        "--file", metavar="FILE", help="into a new file that you alone can read, instead"
    )
    sub = add(
        "research",
        governing.research,
        "Write the ward without names, with shifted dates and a data dictionary, into a new folder.",
        "wardexam research export-2026 --key research.key",
        takes=(*STORE, "examiner"),
    )
    sub.add_argument("folder", metavar="FOLDER", help="where: a new folder that you alone can read")
    sub.add_argument(
        "--key",
        metavar="FILE",
        help="the secret of random names and shifted dates, made where it is not there: so that a later export has the same (default: a new one, kept nowhere)",
    )
    sub.add_argument(
        "--intervals",
        action="store_true",
        help="no date at all: times as minutes since the admission",
    )
    sub = add(
        "retention",
        governing.retention,
        "List by identifier who was discharged longer ago than told.",
        "wardexam retention --years 8",
        takes=STORE,
    )
    sub.add_argument("--years", type=float, metavar="N", help="more than so many years ago")
    sub.add_argument("--days", type=float, metavar="N", help="and so many days")
    sub = add_of_patient(
        "erase",
        governing.erase,
        "Say what is stored of a discharged patient, or erase all of it for good; the audit trail stays whole.",
        ' --identity 40-3317 --why "retention of 8 years is over"',
        takes=(*STORE, "examiner"),
    )
    sub.add_argument(
        "--identity",
        metavar="WHO",
        help="the hospital's number of the patient again (else the birth date, else the name): erases",
    )
    sub.add_argument("--why", metavar="WORDS", help="why; the audit trail keeps it")
    sub = add(
        "export",
        store.export,
        "Write the ward, or one patient, as a JSON Lines archive.",
        "wardexam export > ward.jsonl",
        takes=PAPER,
    )
    sub.description = EXPORT
    sub.add_argument(
        "--patient",
        metavar="PATIENT",
        help="one patient only: identifier, the hospital's number, or the bed",
    )
    sub.add_argument(
        "--output", metavar="FILE", help="write a new file that its owner alone can read"
    )
    form = sub.add_mutually_exclusive_group()
    form.add_argument("--csv", action="store_true", help="the findings as CSV, for audit")
    form.add_argument(
        "--fhir",
        action="store_true",
        help="as a FHIR R4 transaction bundle; with fhir.toml of your settings folder",
    )
    sub = add(
        "import",
        store.import_,
        "Add an archive or a bundle of 'export --fhir' to the ward: all of it or nothing.",
        "wardexam import --dry-run ward.jsonl",
        takes=(*STORE, "examiner"),
    )
    sub.add_argument("file", metavar="FILE", help="the archive or bundle, or - for standard input")
    sub.add_argument(
        "--dry-run", action="store_true", help="say what would be added, change nothing"
    )
    sub.add_argument("--json", **AS_JSON)
    sub = add(
        "backup",
        backup.backup,
        "Write everything of the ward into a new file, also while others write.",
        "wardexam backup /srv/backup/ward-monday.jsonl",
        takes=STORE,
    )
    sub.description = BACKUP
    sub.add_argument("file", metavar="FILE", help="the file to write; none may be there")
    sub = add(
        "restore",
        backup.restore,
        "Lay a ward down from a backup, in an empty place: all of it or nothing.",
        "wardexam restore --db /srv/trial ward-monday.jsonl",
        takes=(*STORE, "examiner"),
    )
    sub.description = RESTORE
    sub.add_argument("file", metavar="FILE", help="the backup")
    sub.add_argument(
        "--dry-run", action="store_true", help="verify it and say what it holds, change nothing"
    )
    sub = add(
        "store",
        server.store,
        "Make a ward on a PostgreSQL server, bring it up to date, look at it, or move a ward.",
        "wardexam store create --db postgresql://server.hospital/ward",
        takes=("db", "shared", "examiner"),
    )
    sub.description = STORE_ON_SERVER
    sub.add_argument("action", choices=server.ACTIONS, help="what to do")
    sub.add_argument("places", metavar="PLACE", nargs="*", help="to move: from where, and where to")
    return top
