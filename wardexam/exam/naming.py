"""Signs by name in a sentence, wherever several stand together."""

from collections.abc import Sequence
from functools import cache

from wardexam.anatomy.catalogue import Sign, signs_of
from wardexam.exam.findings import Side
from wardexam.exam.wording import sided

RUN = 3  # dermatomes in a row from which on a range is said
TOWARDS = " towards"  # how a sign is called whose sides are directions
KNOWN_BY_NAME = ("pinprick ", "light touch ")  # of dermatomes: said once for several


def joined(names: Sequence[str], last: str = "and") -> str:
    """``a, b and c``."""
    return f" {last} ".join(filter(None, (", ".join(names[:-1]), names[-1]))) if names else ""


@cache
def _dermatomes(prefix: str) -> tuple[str, ...]:
    """The dermatomes of a modality by segment, from head to tail."""
    names = (s.name for s in signs_of("sensation"))
    return tuple(n.removeprefix(prefix) for n in names if n.startswith(prefix) and "level" not in n)


def _ranges(segments: Sequence[str], order: Sequence[str]) -> list[str]:
    """Segments with those that follow each other as a range: ``T10 to S1``."""
    runs: list[list[str]] = []
    for segment in sorted(segments, key=order.index):
        if runs and order.index(segment) == order.index(runs[-1][-1]) + 1:
            runs[-1].append(segment)
        else:
            runs.append([segment])
    said: list[str] = []
    for run in runs:
        said += [f"{run[0]} to {run[-1]}"] if len(run) >= RUN else run
    return said


def names_of(signs: Sequence[Sign]) -> str:
    """Signs by name, what they share said once: ``knee and ankle jerks``, ``pinprick L5 and S1``."""
    names: list[str] = []
    jerks = [s.name.removesuffix(" jerk") for s in signs if s.tendon]
    if jerks:
        names.append(f"{joined(jerks)} jerk{'s' if len(jerks) > 1 else ''}")
    for prefix in KNOWN_BY_NAME:
        order = _dermatomes(prefix)
        mine = [s.name.removeprefix(prefix) for s in signs if s.name.startswith(prefix)]
        mine = [name for name in mine if name in order]
        if mine:
            names.append(prefix + joined(_ranges(mine, order)))
    shared = {s.id for s in signs if s.tendon}
    shared |= {
        s.id for s in signs for prefix in KNOWN_BY_NAME
        if s.name.startswith(prefix) and s.name.removeprefix(prefix) in _dermatomes(prefix)
    }  # fmt: skip
    return joined([*names, *(_in_prose(s.name) for s in signs if s.id not in shared)])


def _in_prose(name: str) -> str:
    """A name in a sentence, what follows its comma in brackets: ``vibration (toe and ankle)``."""
    head, comma, rest = name.partition(", ")
    return f"{head} ({rest})" if comma else name


def name_on(sign: Sign, side: Side) -> str:
    """A sign with its side as it is said: ``left ankle jerk``, ``gaze fails towards the right``."""
    name = names_of((sign,))
    return f"{name} the {side}" if name.endswith(TOWARDS) else sided(side, name)


def before_sides(signs: Sequence[Sign]) -> str:
    """Signs by name where their sides follow: ``hip flexion``, ``gaze fails towards the``."""
    names = names_of(signs)
    return f"{names} the" if names.endswith(TOWARDS) else names
