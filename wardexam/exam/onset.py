"""When it began: the one question of the story that stands among the signs, since urgency hangs on it."""

from wardexam.exam.story import StoryAnswer, StoryQuestion, question

NEW_BEGAN = "when what is new began"  # the same later in a stay, once it was told


def onset() -> StoryQuestion:
    """The question, asked as a row above the signs."""
    return question("onset")


def onsets() -> tuple[StoryAnswer, ...]:
    """Its answers in the order of their keys; unknown is an answer all the same."""
    return onset().every


def onset_words(code: str) -> str:
    """An onset in words, such as ``on waking``."""
    return next(answer.words for answer in onsets() if answer.code == code)


def slowness(code: str) -> int:
    """The place of an onset among all, the most acute first: 0 is sudden."""
    return onset().most_acute_first.index(code)
