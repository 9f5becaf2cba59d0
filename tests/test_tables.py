"""Every table of knowledge: a wrong row is one error at load that names file and row, and never a silence."""

import copy
import tomllib
from collections.abc import Iterator
from importlib.resources import files
from itertools import cycle
from typing import Any

import pytest

from wardexam import tables
from wardexam.anatomy import catalogue, lesion_tables, structures
from wardexam.anatomy.structures import STORY
from wardexam.errors import TableError
from wardexam.exam import (
    act_kinds,
    admission,
    answering,
    answers,
    examination,
    findings,
    flags,
    looking_up,
    row_sets,
    seconds,
    sheet,
    story,
)
from wardexam.exam.examination import Context
from wardexam.fhir import standard_codes
from wardexam.governance import dictionary, hazards
from wardexam.injury import tables as injury
from wardexam.note import body, telling
from wardexam.practice import published as practised
from wardexam.practice import tables as practice
from wardexam.reasoning.tables import story_row
from wardexam.review import published, standards

LESIONS = (
    lesion_tables.cord_patterns, lesion_tables.cord_levels, lesion_tables.conus, lesion_tables.cauda,
)  # fmt: skip
DIFFUSE = (
    lesion_tables.polyneuropathies, lesion_tables.polyradiculoneuropathies, lesion_tables.motor_neurone_kinds,
    lesion_tables.motor_neurone_onsets, lesion_tables.junctions, lesion_tables.muscles,
)  # fmt: skip
# What reads each table; the tables of reasoning are held by tests of their own.
READ_BY: dict[str, tuple[Any, ...]] = {
    **{f"anatomy/signs/{n}.toml": (catalogue.catalogue, structures.check_signs) for names in catalogue.PARTS.values() for n in names},
    "anatomy/nerves.toml": (structures.branches,),
    "anatomy/plexus.toml": (structures.plexus_parts,),
    "anatomy/central.toml": (structures.wires,),
    "anatomy/brain_lesions.toml": (structures.brain_lesions,),
    "anatomy/other_lesions.toml": (structures.other_lesions,),
    "anatomy/roots.toml": (lesion_tables.roots,),
    "anatomy/cord_lesions.toml": (lesion_tables.check_lesions, *LESIONS),
    "anatomy/diffuse_lesions.toml": (lesion_tables.check_lesions, *DIFFUSE),
    "exam/acts.toml": (act_kinds.act_kinds,),
    "exam/admission.toml": (admission._patterns, admission._settings, admission._adult),
    "exam/answers.toml": (answers.answer_sets,),
    "exam/flags.toml": (flags.every_flag, examination._told_by, examination._said_yes_by),
    "exam/groups.toml": (sheet.groups,),
    "exam/not_testable.toml": (findings._reasons,),
    "exam/qualities.toml": (findings.qualities,),
    "exam/row_sets.toml": (row_sets.row_sets,),
    "exam/scales.toml": (answers.meanings, answers.scales),
    "exam/seconds.toml": (seconds._costs,),
    "exam/story.toml": (story.story,),
    "exam/synonyms.toml": (answering.synonyms, sheet.sign_names, looking_up.looked_for),
    "fhir/codes.toml": (standard_codes.standard_codes,),
    "fhir/units.toml": (standard_codes.units,),
    "governance/columns.toml": (dictionary.columns,),
    "governance/hazards.toml": (hazards._log,),
    "injury/muscles.toml": (injury.muscles,),
    "injury/reasons.toml": (injury.reasons,),
    "injury/rules.toml": (injury.rules,),
    "injury/standard.toml": (injury.standard,),
    "injury/taking_over.toml": (injury.taken_over,),
    "note/body.toml": (body.table,),
    "note/telling.toml": (telling.thresholds,),
    "practice/actions.toml": (practice.actions,),
    "practice/costs.toml": (
        lambda: practice.question_seconds("flag"), lambda: practice.best_row("sure"), practice.few_signs,
    ),
    "practice/first.toml": (practice.first_rows,),
    "practice/levels.toml": (practice.levels,),
    "practice/published.toml": (practised.published,),
    "practice/story.toml": (
        *(lambda n=n: practice.story.__wrapped__(n) for n in ("onset", "sex", "pain", "trauma")),
        practice.ages, practice.complaints, practice.flag_rows, practice.residuals, lambda: practice.near(("arm", "leg", "head")),
    ),
    "review/published.toml": (published.published,),
    "review/standards.toml": (standards.standards,),
}  # fmt: skip
# What is kept between calls, and called by what reads another part of the same table.
KEPT = [
    (sheet, "synonyms"), (looking_up, "synonyms"), (answers, "meanings"), (examination, "every_flag"),
    (practice, "_costs"), (structures, "catalogue"), (practice, "near"), *((lesion_tables, f.__name__) for f in (*LESIONS, *DIFFUSE)),
]  # fmt: skip
# What a lesion takes and a sign reads is held to each other when the rows are made: tests/reasoning/test_structures.py.
WIRED = {"takes", "other", "both", "same", "opposite", "either", "right_body"}
LEFT_OUT = {"anatomy": {*WIRED, *STORY, "review"}}
ROOT = files("wardexam")


def text_of(name: str) -> str:
    return (ROOT / name).read_text(encoding="utf-8")


def refused(monkeypatch: pytest.MonkeyPatch, name: str, changed: object) -> str:
    """What is said of a table once it holds something else; empty where it is taken."""
    text, loads = text_of(name), tomllib.loads
    with monkeypatch.context() as patch:
        patch.setattr(tomllib, "loads", lambda t: copy.deepcopy(changed) if t == text else loads(t))
        for module, kept in KEPT:
            patch.setattr(module, kept, getattr(module, kept).__wrapped__)
        try:
            for read in READ_BY[name]:
                getattr(read, "__wrapped__", read)()
        except TableError as error:
            return str(error)
    return ""


def places(value: object, name: str, path: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """The way to every table in a table, itself the first; of the rows of one the first and the last."""
    if path and path[-1] in LEFT_OUT.get(name.partition("/")[0], {"review"}):
        return
    if isinstance(value, dict):
        yield path
        held = [(k, v) for k, v in value.items() if isinstance(v, dict | list)]
        for key, inner in (held[0], held[-1]) if len(held) > 12 else held:
            yield from places(inner, name, (*path, key))
    elif isinstance(value, list) and value and isinstance(value[0], dict):
        yield from places(value[0], name, (*path, 0))


def inside(table: Any, path: tuple[Any, ...]) -> Any:
    for key in path:
        table = table[key]
    return table


@pytest.mark.parametrize("name", READ_BY)
def test_a_name_that_is_none_is_refused_wherever_it_stands(monkeypatch, name):
    table = tomllib.loads(text_of(name))
    assert refused(monkeypatch, name, table) == ""
    taken = []
    for path, wrong in zip(places(table, name), cycle((1, "x", {"x": 1})), strict=False):
        changed = copy.deepcopy(table)
        inside(changed, path)["no_such_name"] = wrong
        said = refused(monkeypatch, name, changed)
        if name.partition("/")[2] not in said:
            taken.append((path, wrong, said))
    assert taken == []


@pytest.mark.parametrize("name", READ_BY)
def test_a_row_of_another_shape_is_refused(monkeypatch, name):
    table = tomllib.loads(text_of(name))
    taken = []
    for path, wrong in zip(filter(None, places(table, name)), cycle((1.5, "no row")), strict=False):
        changed = copy.deepcopy(table)
        inside(changed, path[:-1])[path[-1]] = wrong
        said = refused(monkeypatch, name, changed)
        if name.partition("/")[2] not in said:
            taken.append((path, wrong, said))
    assert taken == []


def test_every_table_is_read_by_something():
    tables = {p.relative_to(ROOT).as_posix() for p in ROOT.rglob("*.toml")}
    assert {t for t in tables if not t.startswith("reasoning/")} == set(READ_BY)


def test_every_word_of_a_lesions_story_is_one_that_may_be_told():
    fields = Context.model_json_schema()["properties"]
    words = {
        column: {
            w for p in (fields[column], *fields[column].get("anyOf", ())) for w in p.get("enum", ())
        }
        for column in STORY
        if column in fields
    }
    words |= {"age": set(story_row("age_bands")["from"])}
    words |= {
        "flag": {
            *flags.every_flag(),
            *story_row("found"),
            *(r[w] for r in story_row("support").values() for w in ("else", "refuted") if w in r),
        }
    }
    lesions = [
        row
        for name in READ_BY
        if name.startswith("anatomy/")
        for read in READ_BY[name]
        for row in (read() or {}).values()
        if isinstance(row, structures.Storied)
    ]
    assert len(lesions) > 200
    said = {(c, word) for row in lesions for c, held in row.story.items() for word in held}
    assert [(c, word) for c, word in said if word not in words[c]] == []


@pytest.mark.parametrize(
    ("name", "old", "new", "said"),
    [
        ("exam/acts.toml", "[done]", "[finished]", "acts.toml: unknown 'finished'"),
        ("exam/acts.toml", 'mark = "d"\n', "", "row done, field mark: is missing"),
        ("exam/acts.toml", 'mark = "d"\n', 'mark = "d"\nmarks = "d"\n', "row done, field marks: is no column"),
        ("exam/acts.toml", "ends = true", 'ends = "later"', "row done, field ends"),
        ("exam/answers.toml", "[plantar]", "[planter]", "of sign plantar: unknown 'plantar'"),
        ("exam/answers.toml", '"flexor", "equivocal"', '"flexer", "equivocal"', "row plantar, field graver: unknown 'flexer'"),
        ("exam/answers.toml", 'key = "1", code = "flexor"', 'key = "0", code = "flexor"', "row plantar, field answers: '0' stands twice"),
        ("exam/answers.toml", 'key = "1", code = "flexor"', 'key = "1", code = "mute"', "row plantar, field answers: 'mute' stands twice"),
        ("exam/answers.toml", 'answers = ["unsustained"]', 'answers = ["few"]', "row clonus, field amount.answers: unknown 'few'"),
        ("exam/answers.toml", "least = 1, most = 60", "least = 61, most = 60", "row clonus, field amount"),
        ("exam/answers.toml", 'words = "flexor", usual = true', 'words = "flexor"', "row plantar, field answers.1.usual: is missing"),
        ("exam/admission.toml", 'words = ["assault", "assaulted"]', 'words = ["assault", ""]', "injury, row assault, field words.1"),
        ("exam/admission.toml", "from = 16", "from = 0", "row adult, field from"),
        ("exam/admission.toml", 'words = ["assault", "assaulted"]', 'words = []', "injury, row assault, field words"),
        ("exam/admission.toml", '[injury.fall]\nwords', '[injury.fall]\nword', "injury, row fall, field words: is missing"),
        ("exam/admission.toml", 'source = "judgement: \\"fit', 'why = "judgement: \\"fit', "row set_off, field source: is missing"),
        ("exam/story.toml", 'limb = { words', 'limbs = { words', "row pain, field answers: unknown 'limbs'"),
        ("exam/story.toml", '"days", "weeks", "longer"]', '"days", "longer"]', "row onset, field most_acute_first: no 'weeks'"),
        ("exam/story.toml", 'key = "2"', 'key = "1"', "row onset, field answers: '1' stands twice"),
        ("exam/flags.toml", 'short = "cancer"', 'shrot = "cancer"', "row cancer, field short: is missing"),
        ("exam/flags.toml", 'short = "cancer"', 'id = "x", short = "cancer"', "row cancer: unknown 'id'"),
        ("exam/flags.toml", 'told_by = "onset"', 'told_by = "onest"', "row sudden, field told_by: unknown 'onest'"),
        ("exam/flags.toml", "weight_loss =", "cancer =", "flags.toml: "),
        ("exam/groups.toml", '"knee", "ankle"', '"kne", "ankle"', "row reflexes_leg: unknown 'kne'"),
        ("exam/groups.toml", '"knee", "ankle"', '"knee", "knee"', "row reflexes_leg: 'knee' stands twice"),
        ("exam/groups.toml", '"knee", "ankle"', '"knee", "plantar"', "row reflexes_leg: the signs are not answered alike"),
        ("exam/groups.toml", '["knee", "ankle"]', "[]", "row reflexes_leg"),
        ("exam/not_testable.toml", "declined =", "refused =", "not_testable.toml: unknown 'refused'"),
        ("exam/not_testable.toml", 'declined = { words = "declined" }', "", "not_testable.toml: no 'declined'"),
        ("exam/not_testable.toml", 'words = "cast", limb', 'words = "cast", limbs', "row cast, field limbs: is no column"),
        ("exam/qualities.toml", "[pendular]", "[pendulous]", "qualities.toml: unknown 'pendulous'"),
        ("exam/qualities.toml", '"adductor", "knee"]', '"aductor", "knee"]', "row crossed, field signs: unknown 'aductor'"),
        ("exam/row_sets.toml", "[core]", "[kernel]", "row_sets.toml: unknown 'core'"),
        ("exam/row_sets.toml", '"biceps", "brachioradialis"', '"bicesp", "brachioradialis"', "row core, field signs: unknown 'bicesp'"),
        ("exam/row_sets.toml", '"leg_pain"', '"weak_leg"', "'weak_leg' stands twice"),
        ("exam/row_sets.toml", '"leg_pain"', '"leg_pian"', "row back_pain, field complaints.1"),
        ("exam/scales.toml", "[ninds]", "[ninsd]", "scales.toml: unknown 'ninsd'"),
        ("exam/scales.toml", 'loses = ["trace"', 'loses = ["tarce"', "row conventional, field loses: unknown 'tarce'"),
        ("exam/scales.toml", 'brisk = "3+"', 'brisk = "5+"', "row conventional, field show: unknown '5+'"),
        ("exam/scales.toml", 'brisk = "3+", ', "", "row conventional, field show: no 'brisk'"),
        ("exam/scales.toml", 'mark = "2+", meaning = "normal"', 'mark = "2+", meaning = "usual"', "row conventional, field grades: unknown 'usual'"),
        ("exam/seconds.toml", "[signs]", "[sings]", "seconds.toml: unknown 'sings'"),
        ("exam/seconds.toml", "tone = {", "tune = {", "seconds.toml, kinds: unknown 'tune'"),
        ("exam/seconds.toml", "saddle = { seconds = 30", "saddle = { seconds = 0", "row saddle, field seconds"),
        ("exam/synonyms.toml", 'achilles = "ankle"', 'achilles = "anlke"', "signs, row achilles: unknown 'anlke'"),
        ("exam/synonyms.toml", 'upgoing = "extensor"', 'upgoing = "extensr"', "answers, row upgoing: unknown 'extensr'"),
        ("exam/synonyms.toml", 'positive = "present"', 'positive = "presnt"', "there, row positive: unknown 'presnt'"),
        ("exam/synonyms.toml", 'tumour = ["flag:cancer"]', 'tumour = ["flag:cancr"]', "find, row tumour: unknown 'flag:cancr'"),
        ("exam/synonyms.toml", 'tumour = ["flag:cancer"]', 'tumour = "flag:cancer"', "field find.tumour"),
        ("exam/synonyms.toml", 'signs = ["babinski"]', 'signs = ["babinsky"]', "in_words, field signs: unknown 'babinsky'"),
        ("exam/synonyms.toml", 'achilles_reflex = "ankle"', 'achilles = "ankle"', "synonyms.toml: "),
        ("anatomy/signs/reflexes.toml", 'sides = "each"', 'sides = "both"', "row biceps, field sides"),
        ("anatomy/signs/reflexes.toml", 'limb = "arm"', 'limb = "amr"', "field limb: unknown 'amr'"),
        ("anatomy/signs/sensation.toml", 'modality = "vibration"', 'modality = "vibrating"', "field modality: unknown 'vibrating'"),
        ("anatomy/roots.toml", "C4 =", "C9 =", "roots.toml: unknown 'C9'"),
        ("anatomy/nerves.toml", 'parent = "radial_groove"', 'parent = "radial_grove"', "field parent: unknown 'radial_grove'"),
        ("note/body.toml", 'a = "C5"', 'a = "C9"', "body.toml, areas, row a: unknown 'touch_C9'"),
        ("note/body.toml", "jaw = { row = 1", "jaw = { row = 40", "row jaw: no row 40"),
        ("note/body.toml", "saddle = [14, 14, 7, 8]", "saddle = [14, 14, 7, 9]", "row saddle: no columns 7 to 9"),
        ("note/body.toml", "toes = 19", "tose = 19", "body.toml, reach: unknown 'tose'"),
        ("note/telling.toml", "least = 0.3", "least = 30", "row site_on_list, field least"),
        ("fhir/units.toml", 'code = "mL"\n', "", "units.toml, row mL, field code"),
        ("practice/actions.toml", 'regions = ["', 'regions = ["x', "actions.toml, row "),
        ("practice/costs.toml", "known =", "knwon =", "costs.toml, best: unknown 'knwon'"),
        ("practice/levels.toml", "[2]", "[4]", "levels.toml: unknown '4'"),
        ("practice/levels.toml", '"cauda"', '"cuada"', "levels.toml, row 1: unknown 'cuada'"),
        ("practice/story.toml", "hours = {", "hour = {", "story.toml, onset: unknown 'hour'"),
        ("practice/story.toml", "weak_leg = {", "leg_weak = {", "story.toml, complaint: unknown 'leg_weak'"),
    ],
)  # fmt: skip
def test_a_mistyped_name_is_one_error_that_says_where(monkeypatch, name, old, new, said):
    text = text_of(name)
    assert old in text
    wrong = text.replace(old, new, 1)
    try:
        changed = tomllib.loads(wrong)
    except tomllib.TOMLDecodeError:
        with pytest.raises(TableError, match=f"{name.rpartition('/')[2]}: .*mend the table"):
            tables.parsed(wrong, name.rpartition("/")[2])
        return
    told = refused(monkeypatch, name, changed)
    assert said in told
    assert "mend the table" in told
