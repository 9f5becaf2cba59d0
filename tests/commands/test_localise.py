"""`wardexam localise` and `schema`, as a script runs them."""

import io
import json
import os
import resource
import subprocess
import sys
import time

import pytest

from wardexam.commands.arguments import parser
from wardexam.commands.main import run as edge_run
from wardexam.errors import TableError


def run(*arguments, stdin=""):
    return subprocess.run(
        [sys.executable, "-m", "wardexam", *arguments],
        input=stdin,
        capture_output=True,
        text=True,
        timeout=60,
    )


@pytest.fixture
def here(monkeypatch, capsys):
    """The command in this process, where that it is one of its own makes no difference."""

    def call(*arguments, stdin=""):
        monkeypatch.setattr("sys.stdin", io.TextIOWrapper(io.BytesIO(stdin.encode())))
        code = edge_run(arguments)
        return subprocess.CompletedProcess(arguments, code, *capsys.readouterr())

    return call


def test_a_typed_line_is_answered_in_words():
    done = run("localise", stdin="knee 2/0 ankle 2/2 plantar down/down\n")
    assert done.returncode == 0
    assert "left" in done.stdout
    assert "rules nothing out" in done.stdout


def test_json_lines_give_an_answer_a_line_with_the_id(here):
    sheets = [
        {"id": "a", "findings": [{"sign": "knee", "side": "left", "answer": "0"}]},
        {"id": "b", "findings": []},
    ]
    done = here("localise", "--json", stdin="\n".join(map(json.dumps, sheets)))
    answers = [json.loads(line) for line in done.stdout.splitlines()]
    assert [a["id"] for a in answers] == ["a", "b"]
    for answer in answers:
        assert sum(s["probability"] for s in answer["sites"]) == pytest.approx(1, abs=1e-6)
        assert "rules nothing out" in answer["caution"]


@pytest.mark.parametrize(
    "text", ["knee 2/0\n", '{"id": "a", "findings": []}\n', '{\n"id": "a",\n"findings": []}\n']
)
def test_a_byte_order_mark_is_no_part_of_the_first_line(here, text):
    marked, plain = (here("localise", "--json", stdin=s) for s in ("\ufeff" + text, text))
    assert (marked.returncode, marked.stdout, marked.stderr) == (0, plain.stdout, "")


def test_one_document_over_several_lines_is_one_sheet(here):
    text = json.dumps({"id": "a", "findings": []}, indent=2)
    assert len(here("localise", "--json", stdin=text).stdout.splitlines()) == 1


def test_nothing_entered_says_so_and_what_would_help(here):
    done = here("localise", stdin="{}")
    assert "Nothing entered yet" in done.stdout
    assert "test next" in done.stdout


@pytest.mark.parametrize(
    ("stdin", "named"),
    [
        ("kne 2/0", "did you mean knee"),
        ("knee 9/0", "choose"),
        ('{"findings": [{"sign": "knee", "side": "up", "answer": "2+"}]}', "'right', 'left'"),
        ('{"findings": [{"sign": "plantar", "side": "left", "answer": "sideways"}]}', "flexor"),
        ("{", "JSON"),
        ("[" * 5000, "unknown sign"),
        ('{"context": {"age": ' + "9" * 5000 + "}}", "5000 digits"),
        ('{"findings": ' + "[" * 5000 + "]" * 5000 + "}", "nested too deeply"),
        ('{\n"findings": ' + '{"a":' * 5000 + "1" + "}" * 5001, "nested too deeply"),
        ('{\n"context": {"age": ' + "9" * 5000 + "}}", "5000 digits"),
        ("age=" + "9" * 5000, "5000 digits"),
        ("ankle_clonus sustained:" + "9" * 5000 + "/none", "5000 digits"),
        ("id=" + "x" * 5000, "120 characters"),
        ("x" * 50_000, "unknown sign"),
        ('{"id": "a", }\n', "not JSON"),
    ],
)
def test_bad_input_is_one_line_on_stderr_and_exit_two(here, stdin, named):
    done = here("localise", stdin=stdin)
    assert (done.returncode, done.stdout) == (2, "")
    assert named in done.stderr
    assert len(done.stderr.splitlines()) == 1
    assert "Traceback" not in done.stderr


def test_a_bad_line_is_named_and_the_others_are_answered(here):
    done = here("localise", "--json", stdin='{"id": "a"}\nkne 2/0\n{"id": "c"}\n')
    assert [json.loads(line)["id"] for line in done.stdout.splitlines()] == ["a", "c"]
    assert "line 2" in done.stderr
    assert done.returncode == 2


def test_a_mistake_of_a_table_is_said_once_and_is_no_lines_fault(here, monkeypatch):
    fault = TableError("is missing", "flags.toml, row cancer, field short", "mend the table")
    monkeypatch.setattr("wardexam.commands.localising._findings", lambda _: fault)
    done = here("localise", stdin="knee 2/0\nknee 2/2\n")
    assert done.returncode == 1
    assert done.stderr == f"wardexam: {fault}\n"


def test_power_that_may_be_right_and_left_or_a_grade_out_of_five_is_refused_with_how_to_write_either(
    here,
):
    done = here(
        "localise", stdin="power_leg 2/5\npower_leg 2/5 knee 2/0\npower_leg 2/full\npower_leg 2/2\n"
    )
    assert done.stderr.strip().split("\n") == [
        "wardexam: standard input, line 1: power_leg: 2/5 may be right 2, left 5, or grade 2 out of 5 "
        "(2/full says right 2, left 5, and 2/2 grade 2 on both sides)"
    ]
    assert done.stdout.count("rules nothing out") == 3


def test_a_missing_file_is_named(here):
    done = here("localise", "no-such-file.jsonl")
    assert (done.returncode, "no-such-file.jsonl" in done.stderr) == (2, True)


def test_the_schema_is_json_schema(here):
    schema = json.loads(here("schema").stdout)
    assert schema["$schema"].startswith("https://json-schema.org/")
    assert "findings" in schema["properties"]


def test_every_command_explains_itself(capsys):
    top = parser()
    listed = {line.split()[0] for line in top.format_help().splitlines() if line.startswith("    ")}
    assert len(top.names) > 10
    for name in top.names:
        assert name in listed
        assert edge_run([name, "--help"]) == 0
        said = capsys.readouterr().out
        assert f"example:\n  wardexam {name}" in said or f"| wardexam {name}" in said


def test_what_is_quoted_in_an_error_or_answer_cannot_move_the_cursor(here):
    done = here("localise", stdin="kn\x1b[2Je 2/0\n")
    assert "\x1b" not in done.stderr
    assert "unknown sign" in done.stderr
    named = here("localise", stdin=json.dumps({"id": "a\x1b[2J"}))
    assert "\x1b" not in named.stdout


# --- what is long, and what is no file


def in_little_memory(arguments, stdin=subprocess.DEVNULL, megabytes=400):
    """Run a command that may not take more memory than that; its result and its peak in MB."""
    script = (
        "import sys; from wardexam.commands.main import run; code = run(sys.argv[1:]);"
        "peak = next(line.split()[1] for line in open('/proc/self/status') if line.startswith('VmHWM'));"
        "print(int(peak) // 1024, file=sys.stderr); sys.exit(code)"
    )
    done = subprocess.run(
        [sys.executable, "-c", script, *arguments],
        stdin=stdin,
        capture_output=True,
        text=True,
        timeout=300,
        preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_AS, (megabytes * 1_000_000,) * 2),
    )
    *said, peak = done.stderr.splitlines()
    return done.returncode, done.stdout, said, int(peak)


@pytest.mark.long
def test_refused_lines_take_no_memory(tmp_path):
    peaks = []
    for count in (1_000, 40_000):
        file = tmp_path / str(count)
        file.write_text('{"id": 1, "findings": [{"sign": "knee", "side": "left"}]}\n' * count)
        code, out, said, peak = in_little_memory(["localise", str(file)])
        assert (code, out, len(said)) == (2, "", count)
        assert f"line {count}: " in said[-1]
        peaks.append(peak)
    assert peaks[1] < peaks[0] + 3


@pytest.mark.long
@pytest.mark.parametrize(
    "line",
    [b"x" * 50_000_000, b'{"id": "' + b"x" * 50_000_000, b"{\n" + b" " * 50_000_000],
    ids=["typed", "JSON", "JSON over lines"],
)
def test_an_endless_line_is_refused_and_not_kept(tmp_path, line):
    file = tmp_path / "long"
    file.write_bytes(line)
    code, out, said, peak = in_little_memory(["localise", str(file)])
    assert (code, out, len(said)) == (2, "", 1)
    assert "longer than" in said[0]
    assert peak < 90


def test_after_a_line_that_is_too_long_the_next_is_read(here, tmp_path):
    file = tmp_path / "long"
    file.write_bytes(b"x" * 9_000_000 + b"\nknee 2/0\n" + b"x" * 4_000_000 + b"\nkne 2/0")
    done = here("localise", "--json", str(file))
    assert (done.returncode, len(done.stdout.splitlines())) == (2, 1)
    assert [line.split(": ")[1][-6:] for line in done.stderr.splitlines()] == [
        "line 1",
        "line 3",
        "line 4",
    ]


def test_answers_come_while_the_input_is_still_open():
    with subprocess.Popen(
        [sys.executable, "-u", "-m", "wardexam", "localise", "--json"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
    ) as process:
        for name in ("a", "b"):
            process.stdin.write(json.dumps({"id": name}).encode() + b"\n")
            process.stdin.flush()
            assert json.loads(process.stdout.readline())["id"] == name
        process.stdin.close()
        assert process.wait(timeout=30) == 0


def test_a_first_line_that_is_wrong_in_itself_costs_only_itself(here):
    done = here("localise", "--json", stdin='{"id": "a", "a": tru}\n{"id": "b"}\n')
    assert [json.loads(line)["id"] for line in done.stdout.splitlines()] == ["b"]
    assert (done.returncode, done.stderr.count("\n")) == (2, 1)


@pytest.mark.parametrize("indent", [0, 1, 2])
def test_a_document_over_lines_is_known_by_its_first_line(here, indent):
    sheet = {"id": "a", "context": {"age": 60}, "findings": [{"sign": "jaw", "answer": "2+"}]}
    text = "\n \n" + json.dumps(sheet, indent=indent).replace("\n", "\r\n") + "\n\n"
    done = here("localise", "--json", stdin=text)
    assert (done.returncode, json.loads(done.stdout)["id"]) == (0, "a")


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r", "\x0c", "\u2028"])
def test_typed_lines_are_kept_apart_by_every_end(here, end):
    done = here("localise", "--json", stdin=f"id=a knee 2/0{end}id=b knee 0/2{end}")
    assert [json.loads(line)["id"] for line in done.stdout.splitlines()] == ["a", "b"]


@pytest.mark.long
def test_bytes_that_are_no_text_cost_their_line():
    done = subprocess.run(
        [sys.executable, "-m", "wardexam", "localise", "--json"],
        input=b"knee 2/0\nknee \xff/0\nid=\xed\xa0\x80\n",
        capture_output=True,
    )
    assert (done.returncode, done.stdout.count(b"\n")) == (2, 1)
    assert done.stderr.count(b"not UTF-8 text") == 2


ODD = ["folder", "/dev/zero", "/dev/null", "link to /dev/zero"]


@pytest.mark.parametrize("odd", ODD)
def test_a_folder_or_a_device_is_refused_at_once(here, odd, tmp_path):
    place = tmp_path / "odd"
    if odd == "folder":
        place.mkdir()
    elif odd.startswith("link"):
        place.symlink_to("/dev/zero")
    start = time.perf_counter()
    done = here("localise", str(place) if place.exists() else odd)
    assert (done.returncode, done.stdout, done.stderr.count("\n")) == (2, "", 1)
    assert "cannot be read: it is a" in done.stderr
    assert time.perf_counter() - start < 5


@pytest.mark.long
@pytest.mark.parametrize("file", ["-", "/dev/stdin", "/dev/fd/0"])
def test_standard_input_by_any_of_its_names_is_read(file):
    assert run("localise", "--json", file, stdin="id=a knee 2/0").stdout.count("\n") == 1


@pytest.mark.long
def test_the_pipe_of_a_process_is_read(tmp_path):
    read, write = os.pipe()
    os.write(write, b"id=a knee 2/0\nid=b knee 2/0\n")
    os.close(write)
    done = subprocess.run(
        [sys.executable, "-m", "wardexam", "localise", "--json", f"/dev/fd/{read}"],
        pass_fds=(read,),
        capture_output=True,
    )
    os.close(read)
    assert (done.returncode, done.stdout.count(b"\n")) == (0, 2)


def test_a_closed_standard_input_is_said():
    done = subprocess.run(
        [sys.executable, "-c", "import sys; sys.stdin = None; from wardexam.commands.main import run; sys.exit(run(['localise']))"],
        capture_output=True,
        text=True,
    )  # fmt: skip
    assert (done.returncode, done.stdout) == (2, "")
    assert "standard input: is closed" in done.stderr
