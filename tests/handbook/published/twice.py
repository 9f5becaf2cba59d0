"""One patient under two titles: `python -m tests.handbook.published.twice` prints who may be told twice.

Different readers coded the cases, so that a patient may stand here twice, under sources that are written differently: he
would then count twice, or teach in one part what he measures in another. Two cases may be one patient where they have the
same site, no other age and no other sex, and their sources and summaries are alike; `two_patients.toml` names those that
were read and are not.
"""

import itertools
import tomllib
from collections.abc import Sequence
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from tests.handbook.published.cases import OF_TWO, PARTS, Published, cases

TABLE = Path(__file__).parent / "two_patients.toml"
# Cosines: of 29 patients found twice by reading all lie above, and of all other cases 16 pairs.
SUMMARY, BOTH, BOTH_OF_ANY_AGE = 0.15, 0.58, 0.75


def may_be_one(every: Sequence[Published]) -> set[frozenset[str]]:
    """The names of each two cases that may be one patient."""
    summaries = _likeness([c.summary for c in every], stop_words="english")
    both = summaries + _likeness([c.source for c in every], analyzer="char_wb", ngram_range=(3, 5))
    sites = np.array([c.site for c in every])
    near = np.triu((sites[:, None] == sites) & (summaries >= SUMMARY) & (both >= BOTH), 1)
    found = set()
    for i, j in np.argwhere(near):
        a, b = (every[n].findings.context for n in (i, j))
        aged, sexed = a.age is not None and b.age is not None, "unknown" not in (a.sex, b.sex)
        other = (aged and a.age != b.age) or (sexed and a.sex != b.sex)
        if not other and (aged or both[i, j] >= BOTH_OF_ANY_AGE):
            found.add(frozenset((every[i].id, every[j].id)))
    return found


def known_to_be_two() -> set[frozenset[str]]:
    """Each two cases that were read and are two patients."""
    rows = tomllib.loads(TABLE.read_text(encoding="utf-8"))["patients"]
    return {frozenset(two) for row in rows for two in itertools.combinations(row["ids"], 2)}


def _likeness(texts: Sequence[str], **how: object) -> NDArray[np.float64]:
    # slow to load: not while tests are collected
    from sklearn.feature_extraction.text import TfidfVectorizer

    made = TfidfVectorizer(sublinear_tf=True, **how).fit_transform(texts)
    return np.asarray((made @ made.T).toarray())


def main() -> None:
    """Print both cases of each two that nobody has read yet."""
    every = [case for part in (*PARTS, OF_TWO) for case in cases(part)]
    named = {case.id: case for case in every}
    for two in sorted(map(sorted, may_be_one(every) - known_to_be_two())):
        for name in two:
            print(f"{name}: {named[name].source}: {named[name].summary}")
        print()


if __name__ == "__main__":
    main()
