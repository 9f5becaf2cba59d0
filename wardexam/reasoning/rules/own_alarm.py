"""The tool's own alarm: what the inferred sites raise beside the rules, to today at most."""

from collections.abc import Collection
from dataclasses import replace

from wardexam.exam.examination import Findings
from wardexam.reasoning.reading import Reading
from wardexam.reasoning.rules.acts import kept
from wardexam.reasoning.rules.firing import FRESH, MARKED, WHOLE, views
from wardexam.reasoning.rules.reason import EARLIER_WORD, Reason
from wardexam.reasoning.rules.rule_table import rules
from wardexam.reasoning.tables import conditions_row

OWN = "inferred_site"  # the tool's own alarm: what the acts and what is kept of it call it
OWN_WORDS = "the tool's own alarm"


def rule_words(rule: str) -> str:
    """What a reason of urgency is called, by its rule."""
    if rule == OWN:
        return OWN_WORDS
    row = rules().get(rule)
    return row.reason if row else "a rule of another version"


def own_alarm(
    examination: Findings, reading: Reading, changes: Collection[str] = ()
) -> Reason | None:
    """What the inferred sites raise: by their summed chance, so that two dangerous ones calm no more than one.

    Nothing where no sign is out of the usual: what was told alone is the rules'.
    """
    row = conditions_row(OWN)
    if reading.entered < row["entered"] or not _odd(views(examination, changes)[FRESH]):
        return None
    sites = reading.dangerous
    if sum(s.probability for s in sites) < row["probability"]:
        return None
    acute = examination.context.onset in row["acute"]
    level = row["urgency_acute" if acute else "urgency"]
    text = f"signs may mean: {sites[0].name}" + (
        " or another urgent place" if len(sites) > 1 else ""
    )
    return _of_site(level, text, sites[0].region)


def _of_site(level: int, text: str, region: str) -> Reason:
    """The tool's own alarm, with the image of the region of the likeliest dangerous site."""
    row = conditions_row(OWN)
    image = row["image"].get(region, row["image"]["other"])
    by = row["by_acute" if level >= row["urgency_acute"] else "by"]
    return Reason(
        OWN, level, text, image["image"], row["call"], row["source"], row["first"], by, image["region"],
        image["modality"], row["lowers"], origin="the tool's reading", site=region, short=OWN_WORDS,
    )  # fmt: skip


def standing_alarm(
    examination: Findings,
    previous: Findings | None,
    reading: Reading | None,
    changes: Collection[str],
    *,
    own: bool,
    settled: bool,
) -> Reason | None:
    """The tool's own alarm: as it stands now, or as it was raised before where no act has settled it.

    What is marked as known takes back what was raised before; that it is told to be unchanged does not.
    """
    now = own_alarm(examination, reading, changes) if reading else None
    if (not own and reading is None) or _all_marked(views(examination, changes)):
        return None
    before = kept(examination).get(OWN) or (kept(previous).get(OWN) if previous else None)
    if before is None or not before.level or settled:
        return now
    if now and now.urgency >= before.level:
        return now
    held = _of_site(before.level, before.text, before.region)
    return replace(held, origin=f"{held.origin}, {EARLIER_WORD}")


def _all_marked(seen: tuple[Findings, Findings, Findings]) -> bool:
    """Whether something is out of the usual, and all of it is marked as known."""
    return _odd(seen[WHOLE]) and not _odd(seen[MARKED])


def _odd(found: Findings) -> bool:
    return any(f.abnormal for f in found.findings)
