"""What is built: a source archive whose tests run, and a wheel that works from an empty folder."""

import os
import shutil
import subprocess
import sys
import sysconfig
import tarfile
from pathlib import Path

import pytest

from tests.terminal.pty.harness import environ, running

ROOT = Path(__file__).parents[1]
TOP = {
    "README.md", "DEVELOPERS.md", "LICENSE", "PKG-INFO", "pyproject.toml",
    "wardexam", "tests", "demo_db", ".ci", ".github", ".gitignore",
}  # fmt: skip
# Of the archive's own tests, those that are run here; `.ci/matrix` runs all.
SOME = ("tests/commands/test_whose.py", "tests/test_package.py", "tests/test_readme.py")


def run(*words, cwd, code=0, **more):
    env = {k: v for k, v in os.environ.items() if k not in ("PYTHONPATH", "WARDEXAM_DB")}
    done = subprocess.run(
        [*map(str, words)], cwd=cwd, env={**env, **more}, capture_output=True, text=True
    )
    assert done.returncode == code, done.stdout[-2000:] + done.stderr[-2000:]
    return done.stdout


@pytest.fixture(scope="module")
def built(tmp_path_factory):
    """The source archive, unpacked, and the wheel that is built from it."""
    place = tmp_path_factory.mktemp("built")
    run(sys.executable, "-m", "build", "--no-isolation", "-o", place / "dist", ROOT, cwd=place)
    (archive,) = (place / "dist").glob("*.tar.gz")
    (wheel,) = (place / "dist").glob("*.whl")
    with tarfile.open(archive) as packed:
        packed.extractall(place, filter="data")
    return place / archive.name.removesuffix(".tar.gz"), wheel


@pytest.fixture(scope="module")
def venv(built, tmp_path_factory):
    """The wheel alone in a fresh environment; what it depends on is lent by the one that runs the tests."""
    place = tmp_path_factory.mktemp("venv") / "venv"
    run(sys.executable, "-m", "venv", "--without-pip", place, cwd=place.parent)
    python = place / "bin" / "python"
    pip = (sys.executable, "-m", "pip", "--python", python, "install", "-q", "--no-deps", "--no-index")  # fmt: skip
    run(*pip, built[1], cwd=place)
    own = run(python, "-c", "import sysconfig; print(sysconfig.get_path('purelib'))", cwd=place)
    lent = sorted({sysconfig.get_path("purelib"), sysconfig.get_path("platlib")})
    Path(own.strip(), "lent.pth").write_text("\n".join(lent) + "\n")
    return place


@pytest.mark.long
def test_the_source_archive_holds_every_file_of_the_project(built):
    source, _ = built
    assert {p.name for p in source.iterdir()} == TOP
    if not (ROOT / ".git").exists() or shutil.which("git") is None:
        pytest.skip("no clone here: which files the project has is not known")
    listed = run("git", "ls-files", "--cached", cwd=ROOT).splitlines()
    assert len(listed) > 500
    missing = [name for name in listed if (ROOT / name).is_file() and not (source / name).is_file()]
    assert missing == []


@pytest.mark.long
def test_tests_run_from_the_unpacked_archive(built):
    source, _ = built
    said = run(
        sys.executable, "-m", "pytest", "-q", "-n", "0", "-p", "no:cacheprovider", *SOME, cwd=source
    )
    passed = said.splitlines()[-1]
    assert " passed" in passed
    assert "failed" not in passed
    where = "import wardexam; print(wardexam.__file__)"
    assert run(sys.executable, "-c", where, cwd=source).startswith(str(source))


@pytest.mark.long
def test_the_wheel_works_from_an_empty_folder(venv, tmp_path):
    program, python = venv / "bin" / "wardexam", venv / "bin" / "python"
    empty, home = tmp_path / "empty", {"HOME": str(tmp_path / "home")}
    empty.mkdir()
    where = run(python, "-c", "import wardexam; print(wardexam.__file__)", cwd=empty)
    assert where.startswith(str(venv))
    assert run(program, "--version", cwd=empty, **home).startswith("wardexam ")
    ward = tmp_path / "ward"
    run(python, "-c", f"from pathlib import Path; from wardexam.records.paths import copy_demo; copy_demo(Path({str(ward)!r}))", cwd=empty)  # fmt: skip
    beds = run(program, "beds", "--db", ward, cwd=empty, **home).splitlines()
    assert len(beds) == 12
    patient = beds[2].split()[1]
    note = run(program, "note", "--db", ward, patient, cwd=empty, **home)
    assert "Beatrix Lund" in note
    assert "HANDOVER" in run(program, "handover", "--db", ward, cwd=empty, **home)
    assert "S1" in run(program, "localise", "--signs", "ankle 2/0 ankle_plantarflexion 5/4", cwd=empty, **home)  # fmt: skip
    for words in (("completion", "zsh"), ("manual",), ("schema", "--handover"), ("settings",)):
        assert len(run(program, *words, cwd=empty, **home)) > 300
    assert list(empty.iterdir()) == []


def test_the_wheel_opens_the_invented_ward_on_the_screen(venv, tmp_path):
    env = environ(tmp_path, PYTHONPATH=None, WARDEXAM_ASCII="on")
    with running([str(venv / "bin" / "wardexam"), "demo"], env) as session:
        session.wait("12 patients")
        session.type("jj\r")
        session.wait("Rules nothing out")
        session.send("q")
        session.wait("12 patients")
        session.send("q")
        assert session.ended() == 0


SHARED = (
    "man/man1/wardexam.1",
    "bash-completion/completions/wardexam",
    "zsh/site-functions/_wardexam",
    "fish/vendor_completions.d/wardexam.fish",
)


def test_what_man_and_the_shells_look_for_lies_where_they_look(venv):
    for name in SHARED:
        own = "_wardexam" if "zsh" in name else name.rpartition("/")[2]
        own = "wardexam.bash" if "bash" in name else own
        there = (venv / "share" / name).read_bytes()
        assert there == (ROOT / "wardexam" / "shell" / own).read_bytes()
    if shutil.which("manpath") is None:
        pytest.skip("man is not installed here")
    found = run("man", "-w", "wardexam", cwd=venv, PATH=f"{venv / 'bin'}:/usr/bin:/bin")
    assert found.strip() == str(venv / "share" / SHARED[0])
