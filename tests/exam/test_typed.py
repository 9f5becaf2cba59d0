"""A typed line: names that doctors use of a sign otherwise than its digits here."""

import pytest

from wardexam.errors import InputError
from wardexam.exam.typed import read_line


@pytest.mark.parametrize("line", ["babinski 1/1", "babinski 1/-", "babinski -/0"])
def test_a_digit_beside_the_name_of_a_sign_that_is_there_or_not_is_asked_in_words(line):
    with pytest.raises(InputError, match="say up or down"):
        read_line(line)
    assert read_line("babinski up/down") == read_line("plantar up/down")
