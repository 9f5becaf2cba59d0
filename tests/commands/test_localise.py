"""`wardexam localise` and `schema`, run as a script would run them."""

import argparse
import json
import subprocess
import sys

import pytest

from wardexam.commands.arguments import parser


def run(*arguments, stdin=""):
    return subprocess.run(
        [sys.executable, "-m", "wardexam", *arguments],
        input=stdin,
        capture_output=True,
        text=True,
        timeout=60,
    )


def test_a_typed_line_is_answered_in_words():
    done = run("localise", stdin="knee 2/0 ankle 2/2 plantar down/down\n")
    assert done.returncode == 0
    assert "left" in done.stdout
    assert "rules nothing out" in done.stdout


def test_json_lines_give_an_answer_a_line_with_the_id():
    sheets = [
        {"id": "a", "findings": [{"sign": "knee", "side": "left", "answer": "0"}]},
        {"id": "b", "findings": []},
    ]
    done = run("localise", "--json", stdin="\n".join(map(json.dumps, sheets)))
    answers = [json.loads(line) for line in done.stdout.splitlines()]
    assert [a["id"] for a in answers] == ["a", "b"]
    for answer in answers:
        assert sum(s["probability"] for s in answer["sites"]) == pytest.approx(1, abs=1e-6)
        assert "rules nothing out" in answer["caution"]


def test_one_document_over_several_lines_is_one_sheet():
    text = json.dumps({"id": "a", "findings": []}, indent=2)
    assert len(run("localise", "--json", stdin=text).stdout.splitlines()) == 1


def test_nothing_entered_says_so_and_what_would_help():
    done = run("localise", stdin="")
    assert "Nothing entered yet" in done.stdout
    assert "test next" in done.stdout


@pytest.mark.parametrize(
    ("stdin", "named"),
    [
        ("kne 2/0", "did you mean knee"),
        ("knee 9/0", "allowed are"),
        ('{"findings": [{"sign": "knee", "side": "up", "answer": "2+"}]}', "'right', 'left'"),
        ('{"findings": [{"sign": "plantar", "side": "left", "answer": "down"}]}', "flexor"),
        ("{", "JSON"),
        ("[" * 5000, "unknown sign"),
    ],
)
def test_bad_input_is_one_line_on_stderr_and_exit_two(stdin, named):
    done = run("localise", stdin=stdin)
    assert (done.returncode, done.stdout) == (2, "")
    assert named in done.stderr
    assert len(done.stderr.splitlines()) == 1
    assert "Traceback" not in done.stderr


def test_a_bad_line_is_named_and_the_others_are_answered():
    done = run("localise", "--json", stdin='{"id": "a"}\nkne 2/0\n{"id": "c"}\n')
    assert [json.loads(line)["id"] for line in done.stdout.splitlines()] == ["a", "c"]
    assert "line 2" in done.stderr
    assert done.returncode == 2


def test_a_missing_file_is_named():
    done = run("localise", "no-such-file.jsonl")
    assert (done.returncode, "no-such-file.jsonl" in done.stderr) == (2, True)


def test_the_schema_is_json_schema():
    schema = json.loads(run("schema").stdout)
    assert schema["$schema"].startswith("https://json-schema.org/")
    assert "findings" in schema["properties"]


def test_every_command_explains_itself():
    top = parser()
    (grammars,) = (a for a in top._actions if isinstance(a, argparse._SubParsersAction))
    listed = {line.split()[0] for line in top.format_help().splitlines() if line.startswith("    ")}
    assert len(grammars.choices) > 10
    for name, grammar in grammars.choices.items():
        assert name in listed
        assert f"example:\n  wardexam {name}" in grammar.format_help() or f"| wardexam {name}" in grammar.format_help()  # fmt: skip
    assert "example:\n  wardexam keys" in run("keys", "--help").stdout


def test_what_is_quoted_in_an_error_or_answer_cannot_move_the_cursor():
    done = run("localise", stdin="kn\x1b[2Je 2/0\n")
    assert "\x1b" not in done.stderr
    assert "unknown sign" in done.stderr
    named = run("localise", stdin=json.dumps({"id": "a\x1b[2J"}))
    assert "\x1b" not in named.stdout
