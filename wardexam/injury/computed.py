"""The whole: from a sheet to every result, each with its reason, its rules and what it depends on."""

from dataclasses import dataclass
from typing import Any

from wardexam.injury.allowed import allowed
from wardexam.injury.completion import as_examined
from wardexam.injury.reasons import because, doubts
from wardexam.injury.segments import INTACT_NAME, NAMES, named, number, runs
from wardexam.injury.sheet import InjurySheet
from wardexam.injury.sums import Sum, sums
from wardexam.injury.tables import Why, rules
from wardexam.injury.unknown import fillings, unknown
from wardexam.version import __version__

FORM = 1  # of `Computed.to_dict`: one more where a field goes or changes its meaning
MOST_LOOKED_AT = 24  # unknown scores, for each of which every result is computed anew
SCORES_CAUTION = (
    "Suggestion from the scores, for senior review; not for unchecked clinical use. Follows the 2019 "
    "revision of the international standard as far as its sources could be read."
)
MOST_TOLD = 2  # segments in a row, each by its name
VALUE_WORDS = {INTACT_NAME: "intact", "NA": "not applicable", "none": "no grade"}


def in_words(values: tuple[str, ...]) -> str:
    """Values in words, three segments or more without a gap as first and last."""
    levels = tuple(number(v) for v in values if v in NAMES)
    parts = []
    for first, last in runs(levels):
        whole = [named(n) for n in range(first, last + 1)]
        parts += [f"{whole[0]} to {whole[-1]}"] if len(whole) > MOST_TOLD else whole
    parts += [VALUE_WORDS.get(v, v) for v in values if v not in NAMES]
    return " or ".join([", ".join(parts[:-1]), parts[-1]] if parts[1:] else parts)


@dataclass(frozen=True, slots=True)
class Result:
    """One result.

    Attributes:
        id: Such as ``motor_level_right``.
        values: Every value that remains, rostral first; one where it is determinable.
        assumed: Whether it rests on a marked score counted as normal.
        why: The reason of each value, in the same order.
        depends_on: The unknown scores of which some answer would leave fewer values; None where there are
            too many unknown to say.
    """

    id: str
    values: tuple[str, ...]
    assumed: bool
    why: tuple[Why, ...]
    depends_on: tuple[str, ...] | None = ()

    @property
    def determined(self) -> bool:
        """Whether one value remains."""
        return len(self.values) == 1

    @property
    def text(self) -> str:
        """The value in words, or those that remain: ``C5 or C6 (not determinable)``."""
        mark = "*" if self.assumed else ""
        words = in_words(self.values)
        return f"{words}{mark}" if self.determined else f"{words}{mark} (not determinable)"

    @property
    def rules(self) -> tuple[int, ...]:
        """The numbers of the rules that decide."""
        return tuple(sorted({n for why in self.why for n in why.rules}))


@dataclass(frozen=True, slots=True)
class Computed:
    """Everything that follows from a sheet.

    Attributes:
        sheet: The scores.
        results: Each result by its id.
        sums: Each sub-score by its id.
        not_entered: What was not entered, in words.
        not_testable: What was not testable, in words.
        doubts: What the user must be told beside the results.
    """

    sheet: InjurySheet
    results: dict[str, Result]
    sums: dict[str, Sum]
    not_entered: tuple[str, ...]
    not_testable: tuple[str, ...]
    doubts: tuple[Why, ...]

    def to_dict(self) -> dict[str, Any]:
        """The whole as a document of JSON's kinds, with the number of its form."""
        told = [w for r in self.results.values() for w in r.why]
        told += [s.why for s in self.sums.values()] + list(self.doubts)
        used = sorted({n for why in told for n in why.rules})
        return {
            "version": FORM,
            "program": __version__,
            "id": self.sheet.id,
            "sheet": self.sheet.model_dump(mode="json"),
            "results": {
                id_: {
                    "values": list(r.values),
                    "determined": r.determined,
                    "assumed": r.assumed,
                    "words": r.text,
                    "reasons": [
                        {"value": value, "words": why.words, "rules": list(why.rules)}
                        for value, why in zip(r.values, r.why, strict=True)
                    ],
                    "depends_on": None if r.depends_on is None else list(r.depends_on),
                }
                for id_, r in self.results.items()
            },
            "sums": {
                id_: {
                    "value": s.least if s.determined else None,
                    "least": s.least,
                    "most": s.most,
                    "full": s.full,
                    "words": s.why.words,
                    "rules": list(s.why.rules),
                    "missing": list(s.missing),
                }
                for id_, s in self.sums.items()
            },
            "not_entered": list(self.not_entered),
            "not_testable": list(self.not_testable),
            "doubts": [{"words": d.words, "rules": list(d.rules)} for d in self.doubts],
            "rules": {
                str(n): {
                    "words": rules()[n].words,
                    "standing": rules()[n].standing,
                    "source": rules()[n].source,
                }
                for n in used
            },
            "caution": SCORES_CAUTION,
        }


def compute(sheet: InjurySheet, *, deciding: bool = True) -> Computed:
    """Every result of a sheet.

    Args:
        sheet: The scores.
        deciding: Whether to say which unknown scores each result depends on; it takes most of the time.
    """
    found = allowed(sheet)
    examined = allowed(sheet, as_examined).values if sheet.marked else found.values
    deciding_by_id = _deciding(sheet, found.values) if deciding else dict.fromkeys(found.values)
    results = {
        id_: Result(
            id=id_,
            values=values,
            assumed=set(values) != set(examined[id_]),
            why=tuple(because(sheet, found, id_, value) for value in values),
            depends_on=() if len(values) == 1 else deciding_by_id[id_],
        )
        for id_, values in found.values.items()
    }
    return Computed(
        sheet=sheet,
        results=results,
        sums=sums(sheet),
        not_entered=tuple(sheet.absent()),
        not_testable=tuple(unknown(sheet, entered=True).values()),
        doubts=tuple(doubts(sheet, found)),
    )


def _deciding(
    sheet: InjurySheet, values: dict[str, tuple[str, ...]]
) -> dict[str, tuple[str, ...] | None]:
    """The unknown scores that each result depends on; None for all where they are too many."""
    places = unknown(sheet)
    open_ = [id_ for id_, v in values.items() if len(v) > 1]
    if not open_:
        return dict.fromkeys(values, ())
    if len(places) > MOST_LOOKED_AT:
        return dict.fromkeys(values)
    found: dict[str, list[str]] = {id_: [] for id_ in values}
    for place, words in places.items():
        filled = [allowed(each).values for each in fillings(sheet, place)]
        for id_ in open_:
            if any(each[id_] != values[id_] for each in filled):
                found[id_].append(words)
    return {id_: tuple(words) for id_, words in found.items()}
