"""The command line's grammar."""

import argparse
import sys
from collections.abc import Callable
from typing import TYPE_CHECKING

from wardexam import __version__
from wardexam.commands import edge, screens

if TYPE_CHECKING:
    from _typeshed import SupportsWrite

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


class Grammar(argparse.ArgumentParser):
    """A grammar whose help and errors, which quote what was given, leave through our door."""

    def _print_message(self, message: str, file: "SupportsWrite[str] | None" = None) -> None:
        if file is sys.stdout:
            edge.put(message)
        else:
            edge.remark(message)


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
    common = Grammar(add_help=False)
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
    top.set_defaults(command=screens.open_screen)
    if not commands:
        return top
    from wardexam.commands import localising, papers, store

    grammars = top.add_subparsers(title="commands", metavar="COMMAND")

    def add(name: str, command: Command, help_: str, example: str) -> Grammar:
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

    add("demo", screens.demo, "Open a throw-away copy of an invented ward.", "wardexam demo")
    add(
        "enter",
        screens.enter,
        "Examine on plain lines, for a screen reader or where a full screen is impossible.",
        "wardexam enter",
    )
    sub = add(
        "beds",
        papers.beds,
        "List beds with the identifiers that other commands take.",
        "wardexam beds",
    )
    sub.add_argument("--discharged", action="store_true", help="list discharged patients instead")
    sub = add(
        "note",
        papers.note,
        "Print a stored examination's note.",
        "wardexam note k3v9p2xq7m --form line",
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
        papers.referral,
        "Print a referral: situation, background, assessment, recommendation.",
        "wardexam referral k3v9p2xq7m",
    )
    sub.add_argument("patient", metavar="PATIENT", help="identifier, as listed by 'wardexam beds'")
    add(
        "handover",
        papers.handover,
        "Print the ward's handover sheet, sickest and most changed first.",
        "wardexam handover",
    )
    sub = add(
        "figure",
        papers.figure,
        "Draw a patient's last examination as an SVG picture.",
        "wardexam figure k3v9p2xq7m > figure.svg",
    )
    sub.add_argument("patient", metavar="PATIENT", help="identifier, as listed by 'wardexam beds'")
    sub = add(
        "localise",
        localising.localise,
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
    form = sub.add_mutually_exclusive_group()
    form.add_argument("--json", action="store_true", help="answer in JSON, a line for each sheet")
    form.add_argument("--csv", action="store_true", help="answer in CSV, a line for each site")
    sub = add(
        "schema",
        localising.schema,
        "Print the JSON Schema of what localise reads.",
        "wardexam schema > sheet.schema.json",
    )
    sub.add_argument(
        "--answer", action="store_true", help="of what 'localise --json' answers instead"
    )
    add(
        "keys",
        screens.keys,
        "Print the keys as a keys file, to be changed and kept as keys.toml.",
        "wardexam keys > ~/.config/wardexam/keys.toml",
    )
    sub = add(
        "check",
        store.check,
        "Verify the store and its audit trail; say what is wrong.",
        "wardexam check",
    )
    sub.add_argument(
        "--repair",
        action="store_true",
        help="repair what can be repaired; damaged files are kept aside",
    )
    sub.add_argument(
        "--trail",
        metavar="LINE:HASH",
        help="the head of the audit trail as a handover printed it; is the trail still that one?",
    )
    sub = add(
        "export",
        store.export,
        "Write the ward, or one patient, as a JSON Lines archive.",
        "wardexam export > ward.jsonl",
    )
    sub.add_argument("--patient", metavar="PATIENT", help="one patient only")
    sub.add_argument("--csv", action="store_true", help="the findings as CSV, for audit")
    sub = add(
        "import",
        store.import_,
        "Add an archive to the ward: all of it or nothing.",
        "wardexam import --dry-run ward.jsonl",
    )
    sub.add_argument("file", metavar="FILE", help="the archive")
    sub.add_argument(
        "--dry-run", action="store_true", help="say what would be added, change nothing"
    )
    return top
