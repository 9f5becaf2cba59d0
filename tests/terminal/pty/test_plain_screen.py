"""A note printed on the plain screen is there to be selected until the doctor goes on, by whatever key that is done."""

import pytest

from wardexam.records.ward import open_ward

PROMPT = "Select and copy above"


@pytest.mark.parametrize("key", ["\r", "\x04", "\x03"], ids=["enter", "ctrl-d", "ctrl-c"])
def test_enter_ctrl_d_and_ctrl_c_go_back_to_the_note_and_the_print_is_recorded(ward, tmp_path, key):
    ward.press("H", "Handover")
    ward.press("P", PROMPT)
    ward.quiet()
    ward.send(key)
    ward.wait(lambda s: "plain" in s.lines[-1] and PROMPT not in s.text)
    ward.press("q", "Mo Invented")
    ward.send("q")
    assert ward.ended() == 0
    assert "copied" in [event.event for event in open_ward(tmp_path / "ward").events()]


@pytest.mark.long
def test_what_was_typed_on_the_plain_screen_is_no_key_of_the_note(ward):
    ward.press("H", "Handover")
    ward.press("P", PROMPT)
    ward.send("qq\x03")
    ward.wait(lambda s: "plain" in s.lines[-1] and PROMPT not in s.text)
    ward.quiet()
    assert "Handover" in ward.lines[0]
