"""The tool's reading of the signs in words, for the command line and for what a doctor may accept.

Always worded as a suggestion; never says that signs rule anything out.
"""

from wardexam.exam.text import capital
from wardexam.note.telling import worth_telling
from wardexam.reasoning.reading import CAUTION, Evidence, Reading


def accepted_text(reading: Reading, sites: int = 2) -> str:
    """The sentence that goes into the note when the doctor accepts the suggestion.

    What the first site leaves unexplained is said with it. Empty where nothing was entered or no site stands out
    enough to be named; what is normal as far as examined only where it is likely.
    """
    named = [
        s
        for s in reading.sites[:sites]
        if worth_telling("site_in_note", s.probability)
        and (s.region != "none" or s.word in ("likely", "very likely"))
    ]
    if not reading.entered or not named:
        return ""
    places = "; ".join(f"{s.word} {s.name}" for s in named)
    doubt = ""
    if reading.unexplained:
        doubt += f" Not explained by the first: {'; '.join(reading.unexplained)}."
    if not reading.fits_one:
        doubt += " The findings do not fit one lesion well."
    doubt += f" {text}." if (text := pair_text(reading)) else ""
    rests = f" {capital(reading.before)}." if reading.before else ""
    return f"Findings compatible with: {places}.{doubt}{rests}"


def contradiction_text(contradiction: str) -> str:
    """What was stated and cannot be both, with what that does."""
    return f"{capital(contradiction)}: left out of where, not of how urgent"


def pair_text(reading: Reading) -> str:
    """That there may be two lesions, in words; empty where that is not likely enough to be said."""
    if reading.pair is None:
        return ""
    if not reading.pair.first:
        return "Perhaps two lesions, as in published cases like it"
    return f"Perhaps two lesions: {reading.pair.first} and {reading.pair.second}"


def alike_words(reading: Reading) -> list[str]:
    """What published cases that are like it were, in words: ``left root 71%``."""
    return [f"{a.name} {a.share:.0%}" for a in reading.alike]


def _weights(title: str, evidence: tuple[Evidence, ...], most: int) -> list[str]:
    notes = {
        "finding": "",
        "before": "",
        "stated": " (stated normal)",
        "story": "",
        "told": "",
    }
    return [
        f"  {title if n == 0 else '':<10} {e.text}{notes[e.kind]} [{e.weight:+.1f}]"
        for n, e in enumerate(evidence[:most])
    ]


def reading_lines(reading: Reading, *, most: int = 4) -> list[str]:
    """A reading as plain lines: sites with bars, reasons, what does not fit, what to test next.

    Weights are log10 likelihood ratios: of the top site against all who are examined, then against the next site.
    """
    lines = []
    if not reading.entered:
        lines.append("Nothing entered yet: no site is more likely than before the examination.")
    else:
        lines += [f"{contradiction_text(c)}." for c in reading.contradictions]
        if not reading.fits_one:
            lines.append("These findings do not fit one lesion.")
        for site in reading.sites[:most]:
            bar = "#" * round(site.probability * 20)
            levels = f" [{site.levels[0]} to {site.levels[1]}]" if site.levels else ""
            lines.append(f"{site.probability:4.0%} {bar:<20} {site.word} {site.name}{levels}")
        if reading.before:
            lines.append(f"  {reading.before}")
        lines += _weights("for", reading.supports, most) + _weights(
            "against", reading.opposes, most
        )
        lines += _weights("over the next", reading.separates, most)
        lines += [f"  does not fit: {text}" for text in reading.unexplained[:most]]
        if alike := alike_words(reading):
            lines.append(f"  cases like it  {', '.join(alike)}")
        if reading.pair:
            lines.append(f"  {pair_text(reading)}")
        lines += [
            f"  hangs on one grade: were it {f.instead}, {f.leads} would lead"
            for f in reading.fragile[:2]
        ]
        lines += [
            f"  sides differ: {a.text} ({a.probability:.0%} that it is more than two observers differ by)"
            for a in reading.asymmetries[:most]
        ]
        if reading.level_note:
            lines.append(f"  level: {reading.level_note}")
    for number, sign in enumerate(reading.next_signs):
        meaning = "; ".join(f"{answer}: {points}" for answer, points in sign.outcomes[:2])
        why = " (may change how urgent)" if sign.urgent else ""
        head = "test next" if number == 0 else "then" if number == 1 else ""
        lines.append(f"  {head:<10} {sign.text}{why}: {meaning}".rstrip())
    lines.append(CAUTION)
    return lines
