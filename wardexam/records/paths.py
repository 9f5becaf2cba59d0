"""Where everything lies: a ward, what is in its folder, what a login keeps of it, settings, the demo ward.

In a ward's folder:

- ``ward.json``: the layout's version; written last, so that a folder with it is complete
- ``patients/``: a document file for each patient, the version before beside it as ``.before``
- ``drafts/``: examinations (``.draft``) and cord injury sheets (``.sheet``) under way; set-aside ones under ``drafts/aside``
- ``index/``: the ward list, derived: ``current.jsonl`` and ``discharged.jsonl``
- ``locks/``: 64 lock files
- ``staging/``: files until they are whole
- ``audit.jsonl``: who did what
- ``origin``: of a ward that was restored: from which backup, and how each patient's record stood then
- ``moved``: where the ward was moved to; nobody goes on here
"""

import os
import shutil
import zlib
from pathlib import Path

import platformdirs

from wardexam.errors import InputError, RecordsError
from wardexam.records.durable_files import read_followed, reason
from wardexam.settings import LONGEST

DEMO = "demo_ward"
MARK, TRAIL = "ward.json", "audit.jsonl"
# What is in force while a settings file cannot be read.
STAYS = {
    "keys": "the built-in keys stay",
    "wording": "the built-in wording stays",
    "fhir": "nothing was exported",
}
DRAFT = "draft"  # how the name of an examination's draft ends
FOLDERS = ("patients", "drafts", "drafts/aside", "index", "locks", "staging")


class WardPaths:
    """The places in a ward's folder; nothing is made and nothing is looked at."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.mark_file, self.trail = folder / MARK, folder / TRAIL
        self.origin_file, self.moved_file = folder / "origin", folder / "moved"
        self.patients, self.drafts, self.drafts_aside, self.index, self.locks, self.staging = (
            folder / name for name in FOLDERS
        )

    def file(self, patient_id: str) -> Path:
        """Where a patient's file lies."""
        return self.patients / f"{patient_id}.json"

    def ward_list(self, *, discharged: bool) -> Path:
        """Where the list of the current or of the discharged patients lies."""
        return self.index / ("discharged.jsonl" if discharged else "current.jsonl")


def draft_path(folder: Path, draft_id: str, ending: str = DRAFT) -> Path:
    """Where a draft lies, in the ward's folder of drafts or in the user's own."""
    return folder / f"{draft_id}.{ending}"


def _at_home(chosen: str) -> Path:
    """The path that was chosen, with ``~`` and ``~user`` spelled out.

    Raises:
        InputError: There is no such user, or no home.
    """
    try:
        return Path(chosen).expanduser()
    except RuntimeError:
        raise InputError(
            "there is no such user, or no home folder", chosen, "write the whole path"
        ) from None


def _there(path: Path) -> bool:
    """Whether anything lies at a path; what cannot be looked at does."""
    try:
        path.lstat()
    except (FileNotFoundError, NotADirectoryError):
        return False
    except OSError:
        pass
    return True


def ward_folder(given: str | None) -> Path:
    """The folder of the ward: the one given, else ``WARDEXAM_DB``, else in the user's data folder.

    Raises:
        InputError: The path begins with a home that nobody has.
    """
    chosen = given or os.environ.get("WARDEXAM_DB")
    return _at_home(chosen) if chosen else platformdirs.user_data_path("wardexam") / "ward"


def _settings_files(name: str, given: str | None) -> list[Path]:
    """The settings file that is named, else those that stand in the user's, then the host's settings folder."""
    chosen = given or os.environ.get(f"WARDEXAM_{name.upper()}")
    if chosen:
        return [_at_home(chosen)]
    places = (
        platformdirs.user_config_path("wardexam"),
        platformdirs.site_config_path("wardexam"),
    )
    return [p for place in places if _there(p := place / f"{name}.toml")]


def _settings_text(path: Path, where: str, stays: str) -> str:
    try:
        data = read_followed(path, LONGEST)
        if len(data) > LONGEST:
            raise RecordsError(f"longer than {LONGEST} bytes", where, stays)
        return data.decode("utf-8")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise RecordsError("not UTF-8 text", f"{where}, line {line}", stays) from None
    except OSError as error:
        raise RecordsError(f"cannot be read: {reason(error)}", where, stays) from None


def settings_text(name: str, given: str | None = None) -> tuple[str, str] | None:
    """A settings file (``wording``, ``keys`` or ``fhir``), as its name and text; None where there is none.

    The file given, else the one that ``WARDEXAM_WORDING``, ``WARDEXAM_KEYS`` or ``WARDEXAM_FHIR`` names, else
    ``wording.toml`` and so on in the user's, then the host's settings folder.

    Raises:
        InputError: The path begins with a home that nobody has.
        RecordsError: The file cannot be read, is no regular file or too long, or is not UTF-8; with
            the line.
    """
    found = _settings_files(name, given)
    if not found:
        return None
    return found[0].name, _settings_text(found[0], found[0].name, STAYS[name])


def settings_texts(name: str) -> list[tuple[str, str]]:
    """Every settings file of a name that is in force, the user's before the host's, each as its path and text.

    Raises:
        InputError: As `settings_text`.
        RecordsError: As `settings_text`.
    """
    return [
        (str(path), _settings_text(path, str(path), "mend it or take it away"))
        for path in _settings_files(name, None)
    ]


def elsewhere(folder: Path) -> Path:
    """Where this user keeps drafts of a ward whose own folder cannot be written."""
    name = f"{zlib.crc32(os.fsencode(folder.absolute())):08x}"
    return platformdirs.user_state_path("wardexam") / "drafts" / name


def elsewhere_of(ward_id: str) -> Path:
    """Where this user keeps drafts of a ward on a server that cannot be reached."""
    return (
        platformdirs.user_state_path("wardexam") / "drafts" / ward_id[:8]
    )  # so that a message can name it


def cached(name: str) -> Path:
    """Where bytes lie that can be made again."""
    return platformdirs.user_cache_path("wardexam") / name


def kept_trail(folder: Path) -> Path:
    """Where this login keeps the head of a ward's audit trail."""
    path = os.fsencode(folder.absolute())
    name = f"{zlib.crc32(path):08x}{zlib.adler32(path):08x}"
    return platformdirs.user_state_path("wardexam") / "trails" / f"{name}.json"


def kept_trail_of(ward_id: str) -> Path:
    """Where this login keeps the head of the audit trail of a ward on a server."""
    return platformdirs.user_state_path("wardexam") / "trails" / f"{ward_id}.json"


def practice_file() -> Path:
    """Where this user's results of practice lie, apart from every ward."""
    return platformdirs.user_state_path("wardexam") / "practice" / "progress.json"


def demo_source() -> Path:
    """The demo ward as installed, or as it lies in a source tree.

    Raises:
        RecordsError: It is in neither place.
    """
    package = Path(__file__).parents[1]
    for place in (package / DEMO, package.parent / "demo_db" / "ward"):
        if place.is_dir():
            return place
    raise RecordsError(
        "the demo ward is missing", where=str(package / DEMO), remedy="install again"
    )


def copy_demo(target: Path) -> Path:
    """A private copy of the demo ward at `target`; gives the target."""
    target.mkdir(mode=0o700, parents=True)
    source = demo_source()
    for there in sorted(source.rglob("*")):
        copy = target / there.relative_to(source)
        if there.is_dir():
            copy.mkdir(mode=0o700)
        else:
            shutil.copyfile(there, copy)
            copy.chmod(0o600)
    return target
