"""Where a ward is kept, and the throw-away copy of the demo ward."""

import os
import shutil
from pathlib import Path

import platformdirs

from wardexam.errors import RecordsError

DEMO = "demo_ward"


def ward_folder(given: str | None) -> Path:
    """The folder of the ward: the one given, else ``WARDEXAM_DB``, else in the user's data folder."""
    chosen = given or os.environ.get("WARDEXAM_DB")
    return Path(chosen).expanduser() if chosen else platformdirs.user_data_path("wardexam") / "ward"


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
    for source in demo_source().iterdir():
        copy = target / source.name
        shutil.copyfile(source, copy)
        copy.chmod(0o600)
    return target
