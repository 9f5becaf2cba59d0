"""What is likely before any sign: sites, stages by onset, and what the story makes of every form.

A story is told in columns (onset, age, sex, trauma, setting, pain, complaint, flag). A form's own column stands in place
of its site's. What published cases taught (`learned.toml`) multiplies what is judgement. The tool's own alarm weighs
only the onset and the rows of `story.toml`, nothing that was learned, and no form that could calm it.
"""

from collections.abc import Collection
from functools import cache, cached_property
from typing import Any, get_args

import numpy as np
from numpy.typing import NDArray

from wardexam.anatomy.catalogue import SEGMENTS, catalogue
from wardexam.anatomy.structures import STORY
from wardexam.errors import TableError
from wardexam.exam.examination import Context
from wardexam.exam.flags import every_flag
from wardexam.reasoning.model.forms import PAIRS, STAGES, Form
from wardexam.reasoning.model.hypotheses import Hypotheses
from wardexam.reasoning.tables import read, story_row
from wardexam.tables import all_known

Floats = NDArray[np.float64]


def sites() -> dict[str, dict[str, Any]]:
    """The sites with their priors, by id."""
    return read("inference/sites.toml")


@cache
def is_urgent(group: str) -> bool:
    """Whether a lesion of a group needs same-day action in general."""
    return bool(sites()[group.partition(".")[0]]["urgent"])


def learned() -> dict[str, Any]:
    """By how much published cases multiply what is judgement: of sites, of forms, of words of a story."""
    return read("inference/learned.toml")


@cache
def words_of_story() -> dict[str, frozenset[str]]:
    """What may be told in each column of a story."""
    said: dict[str, frozenset[str]] = {}
    for column in STORY:
        kind = Context.model_fields[column].annotation if column in Context.model_fields else None
        each = (word for part in (kind, *get_args(kind)) for word in get_args(part))
        said[column] = frozenset(word for word in each if isinstance(word, str))
    found, support = story_row("found"), story_row("support")
    others = [row[word] for row in support.values() for word in ("else", "refuted") if word in row]
    said["flag"] = frozenset((*every_flag(), *found, *others))
    said["age"] = frozenset(story_row("age_bands")["from"])
    return said


def _checked(forms: Collection[Form]) -> None:
    """Whether all that was learned speaks of something that is there.

    Raises:
        TableError: It names a site, a form, a column or a word of a story that is none.
    """
    rows, known = learned(), set(sites())
    names = {(f.site, f.name) for f in forms}
    words = [row for column in rows["told"].values() for row in column.values()]
    said = {*rows["site"], *(site for row in words for site in row)}
    for name in said - known - {"source"}:
        raise TableError(f"no site '{name}'", where="learned.toml")
    for site, row in rows["form"].items():
        for name in row:
            if (site, name) not in names and name != "source":
                raise TableError(f"no form '{name}' of site '{site}'", where="learned.toml, form")
    all_known(rows["told"], STORY, "learned.toml, told")
    stories = [(f"the lesion {f.name}, of {f.site}", f.story) for f in forms]
    stories += [(f"sites.toml, row {site}", row) for site, row in sites().items()]
    stories.append(("learned.toml, told", rows["told"]))
    for number, row in enumerate(read("inference/story.toml")["shift"], 1):
        stories.append((f"story.toml, shift {number}", row))
        all_known(row["sites"], known, f"story.toml, shift {number}")
    for site, row in story_row("support").items():
        all_known(
            (*row.get("signs", ()), *row.get("unless", ()), *row.get("unless_one_sided", ())),
            catalogue(),
            f"story.toml, support, {site}",
        )
        kinds = {sign.answers for sign in catalogue().values()}
        all_known(row.get("unless_kinds", ()), kinds, f"story.toml, support, {site}, kinds")
    said_of = words_of_story()
    for site, row in story_row("support").items():
        for named, column in (
            ("complaints", "complaint"),
            ("pain", "pain"),
            ("settings", "setting"),
        ):
            all_known(row.get(named, ()), said_of[column], f"story.toml, support, {site}, {named}")
    of_setting = dict(story_row("complaint_of_setting"))
    del of_setting["source"]
    all_known(of_setting, said_of["complaint"], "story.toml, complaint_of_setting")
    all_known(of_setting.values(), said_of["setting"], "story.toml, complaint_of_setting")
    for where, story in stories:
        for column in said_of.keys() & story.keys():
            all_known(story[column], said_of[column], f"{where}, {column}")


def _counts(row: dict[str, Any], context: Context) -> bool:
    """Whether all that a row of the table names is so."""
    age = context.age
    return (
        all(
            getattr(context, field) in row[field]
            for field in ("pain", "trauma", "setting", "complaint", "complaint_side")
            if field in row
        )
        and ("older_than" not in row or (age is not None and age > row["older_than"]))
        and ("younger_than" not in row or (age is not None and age < row["younger_than"]))
    )


def _shift(form: Form, row: dict[str, Any]) -> float:
    """What a row that counts makes of a form."""
    level = "" if form.level is None else SEGMENTS[form.level][0]
    fits = (
        form.site in row["sites"]
        and level in row.get("levels", [level])
        and form.side in row.get("sides", [form.side])
    )
    return float(row["factor"]) if fits else 1.0


def band(age: int | None) -> str:
    """The name of the band that an age falls in; empty where it is not known."""
    bands = story_row("age_bands")["from"]
    return "" if age is None else next(b for b, least in reversed(bands.items()) if age >= least)


def with_setting(context: Context) -> Context:
    """The story with a complaint that tells a setting told as that setting, so that it weighs once however it is told."""
    setting = story_row("complaint_of_setting").get(str(context.complaint))
    if setting is None:
        return context
    known = context.setting not in (None, "none")
    return context.model_copy(
        update={"complaint": None, "setting": context.setting if known else setting}
    )


def told(context: Context, flags: Collection[str] = ()) -> list[tuple[str, str]]:
    """The story as columns and what stands in them; `flags` are those answered yes."""
    context = with_setting(context)
    said = [(c, str(getattr(context, c))) for c in STORY if c not in ("age", "flag")]
    said += [("age", band(context.age)), *(("flag", flag) for flag in sorted(flags))]
    return [(column, value) for column, value in said if value not in ("", "None", "unknown")]


class Priors:
    """The prior of every row, put together from what each word of a story gives.

    A form's draws of one stage are equally likely, so that each is worked out once, in a cell.
    """

    def __init__(self, hypotheses: Hypotheses) -> None:
        self._made, self._forms = hypotheses, hypotheses.forms
        _checked(self._forms)
        self._own = np.array([sites()[f.site]["prior"] for f in self._forms], float)
        self._taught = np.array([learned()["site"].get(f.site, 1.0) for f in self._forms], float)
        of_form = learned()["form"]
        self._part = self._parts(
            [f.weight * of_form.get(f.site, {}).get(f.name, 1.0) for f in self._forms]
        )
        self._upper = np.array([f.upper for f in self._forms])
        cells = np.arange(len(self._forms) * len(STAGES)).reshape(-1, len(STAGES))
        held = np.where(self._upper[:, None] | (np.arange(len(STAGES)) == 0), 2 * PAIRS, 0)
        self._cell_of = np.empty(hypotheses.rows, np.int32)
        self._cell_of[hypotheses.row_of] = np.repeat(cells.ravel(), held.ravel())
        self._words: dict[tuple[str, str], tuple[Floats, Floats]] = {}
        self._shifts: dict[int, Floats] = {}
        self._staged: dict[str, Floats] = {}

    def _parts(self, weights: list[float]) -> Floats:
        """The share of each form in its site."""
        total = dict.fromkeys((f.site for f in self._forms), 0.0)
        for form, weight in zip(self._forms, weights, strict=True):
            total[form.site] += weight
        return np.array(
            [w / (total[f.site] or 1) for f, w in zip(self._forms, weights, strict=True)]
        )

    @cached_property
    def heard(self) -> Floats:
        """The share of each form in its site, for the alarm: none for a form that it does not weigh."""
        return self._parts([f.weight if f.alarm else 0.0 for f in self._forms])

    def log(self, context: Context, flags: Collection[str] = (), *, alarm: bool = False) -> Floats:
        """Log prior of one draw of every row, shape (rows,); a site's mass is shared among its forms."""
        share = self._share(context, flags, alarm=alarm)
        stages = self._stages(context.onset) / (2 * PAIRS)
        cells = share[:, None] * np.where(self._upper[:, None], stages, 1 / (2 * PAIRS))
        cells = cells.ravel()
        with np.errstate(divide="ignore"):
            log = np.log(cells / (cells[self._cell_of] * self._made.draws).sum())
        return np.asarray(log[self._cell_of])

    def of_rows(self, context: Context, flags: Collection[str] = ()) -> Floats:
        """Log prior of every row, with all draws that it holds, shape (rows,)."""
        return self.log(context, flags) + self._made.log_draws

    def _stages(self, onset: str) -> Floats:
        """How likely each stage is for each form, shape (forms, stages)."""
        if onset not in self._staged:
            own, general = story_row("stages_of"), story_row("stage")[onset]
            rows = [
                story_row(own[f.site])[onset] if f.site in own else general for f in self._forms
            ]
            self._staged[onset] = np.array([[row[s] for s in STAGES] for row in rows])
        return self._staged[onset]

    def forms(self, context: Context, flags: Collection[str] = ()) -> Floats:
        """The probability of every form, shape (forms,)."""
        share = self._share(context, flags, alarm=False)
        return np.asarray(share / share.sum())

    def without_each(
        self, context: Context, flags: Collection[str], spoken: Collection[str]
    ) -> dict[tuple[str, str], Floats]:
        """The probability of every form were one word of the story not told, by that word, shape (forms,).

        Args:
            context: The story.
            flags: What stands for flags in the prior.
            spoken: The flags among them that were answered yes by somebody.
        """
        made, context = {}, with_setting(context)
        for column, value in told(context, spoken):
            if column == "flag":
                made[column, value] = self.forms(context, [f for f in flags if f != value])
            else:
                unknown = Context.model_fields[column].default
                less = context.model_copy(update={column: unknown})
                made[column, value] = self.forms(less, flags)
        return made

    def _share(self, context: Context, flags: Collection[str], *, alarm: bool) -> Floats:
        # An answer beside the complaint shall not quiet the alarm.
        context = with_setting(context.model_copy(update={"setting": None}) if alarm else context)
        share = self._own * self._word("onset", context.onset)[0]
        for number, row in enumerate(read("inference/story.toml")["shift"]):
            if _counts(row, context):
                share = share * self._shifted(number, row)
        if alarm:
            return share * self.heard
        share = share * self._part * self._taught
        for column, value in told(context, flags):
            judged, taught = self._word(column, value)
            if column != "onset":
                share = share * judged
            share = share * taught
        return np.asarray(share)

    def _word(self, column: str, value: str) -> tuple[Floats, Floats]:
        """What judgement, and what published cases, make of every form where a word is told."""
        if (column, value) not in self._words:
            row = learned()["told"].get(column, {}).get(value, {})
            judged = [
                f.story.get(column, {}).get(value, sites()[f.site].get(column, {}).get(value, 1.0))
                for f in self._forms
            ]
            taught = [row.get(f.site, 1.0) for f in self._forms]
            self._words[column, value] = np.array(judged, float), np.array(taught, float)
        return self._words[column, value]

    def _shifted(self, number: int, row: dict[str, Any]) -> Floats:
        if number not in self._shifts:
            self._shifts[number] = np.array([_shift(form, row) for form in self._forms])
        return self._shifts[number]
