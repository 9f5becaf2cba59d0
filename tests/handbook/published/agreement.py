"""How far two coders of one vignette agree: `python -m tests.handbook.published.agreement`.

Fifty cases of the development part were coded a second time by a reader who had not seen the first coding.
"""

import tomllib
from collections.abc import Iterator

from tests.handbook.published.cases import FOLDER, NO_LESION, Published, cases
from tests.handbook.urgency import interval
from wardexam.exam.examination import Findings
from wardexam.exam.typed import read_line

Answers = dict[tuple[str, str], str]


def _answers(found: Findings) -> Answers:
    """The answers by sign and side; a tendon grade by its meaning."""
    return {f.key: f.meaning for f in found.findings if f.answer is not None}


def pairs() -> Iterator[tuple[Published, dict[str, str], Answers, Answers]]:
    """Each case coded twice: the first coding, the second one's row, and the answers of both."""
    first = {c.source: c for c in cases("development")}
    rows = tomllib.loads((FOLDER / "second.toml").read_text(encoding="utf-8"))["case"]
    for row in rows:
        case = first[row["source"]]
        second = read_line(row["entered"]).spelled_out()
        yield case, row, _answers(case.findings), _answers(second)


def main() -> None:
    """Print how often site, lesion or none, side, urgency and the answers to a sign agree."""
    both = list(pairs())
    count = len(both)

    def said(words: str, agree: int, of: int) -> None:
        print(f"{words}: {interval(agree, of)}")

    said("the same site", sum(c.site == r["site"] for c, r, _, _ in both), count)
    said(
        "the same site, or one that the first called not to be told apart",
        sum(r["site"] in (c.site, *c.accept) for c, r, _, _ in both),
        count,
    )
    calm = sum(c.no_lesion == (r["site"] in NO_LESION) for c, r, _, _ in both)
    said("a lesion or none", calm, count)
    said("the same side", sum(c.side == r["side"] for c, r, _, _ in both), count)
    said("urgent or not", sum(c.urgent == r["urgent"] for c, r, _, _ in both), count)
    shared = [(one[k], two[k]) for _, _, one, two in both for k in one.keys() & two.keys()]
    said("a sign that both coded, the same answer", sum(a == b for a, b in shared), len(shared))
    either = sum(len(one.keys() | two.keys()) for _, _, one, two in both)
    said("a sign that either coded, coded by both", len(shared), either)


if __name__ == "__main__":
    main()
