"""What may be done about a reason: one table, from which every screen and paper has its words."""

from typing import get_args

from wardexam.exam.act_kinds import ACT_KINDS, act_kinds
from wardexam.exam.acts import Act
from wardexam.fhir.own_codes import SEPARATOR, words
from wardexam.governance.dictionary import dictionary
from wardexam.note.reasons import KINDS
from wardexam.terminal.course import MARKS
from wardexam.terminal.keys import GONE


def test_the_table_has_a_row_for_each_kind_in_the_order_of_the_digits_that_choose_it():
    assert tuple(act_kinds()) == ACT_KINDS == get_args(Act.model_fields["kind"].annotation)
    assert [GONE["reasons", kind][-1] for kind in ACT_KINDS] == list("12345")


def test_papers_bundles_and_the_dictionary_say_what_the_table_says():
    rows = act_kinds()
    assert {kind: row.short for kind, row in rows.items()} == KINDS
    assert {kind: row.mark for kind, row in rows.items()} == MARKS
    assert {
        f"act{SEPARATOR}{kind}": row.words for kind, row in rows.items()
    }.items() <= words().items()
    told = {entry.id: entry.words for entry in dictionary() if entry.kind == "act"}
    assert {kind: row.told for kind, row in rows.items()} == told


def test_what_is_not_said_apart_is_said_as_everywhere():
    assert act_kinds()["asked"].short == "asked"
    assert act_kinds()["called"].short == act_kinds()["called"].label == "called"
    assert act_kinds()["called"].choice == act_kinds()["called"].told == "somebody was called"
