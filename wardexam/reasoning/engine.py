"""Bayes backwards: from the findings entered so far to a `Reading`."""

from collections.abc import Sequence

from wardexam.exam.earlier import Earlier
from wardexam.exam.examination import Findings
from wardexam.reasoning.inference.alarm import alarming
from wardexam.reasoning.inference.evidence import terms
from wardexam.reasoning.inference.explanation import fit, weighed
from wardexam.reasoning.inference.greatest import first_likely
from wardexam.reasoning.inference.next_sign import information, next_signs
from wardexam.reasoning.inference.posterior import Posterior, Sums, answered_yes
from wardexam.reasoning.inference.prior import told as words_told
from wardexam.reasoning.inference.ranking import alike_cases, ranked
from wardexam.reasoning.inference.sensitivity import one_grade_off
from wardexam.reasoning.inference.two_lesions import two_lesions
from wardexam.reasoning.model.hypotheses import Hypotheses, fingerprint
from wardexam.reasoning.reading import Evidence, Reading, SignKey, Site
from wardexam.reasoning.rules.asymmetry import asymmetries, level_note
from wardexam.reasoning.rules.contradictions import contradictions, left_out
from wardexam.reasoning.rules.raising import rising
from wardexam.reasoning.tables import weighing_row
from wardexam.reasoning.ties import even_chance, ordered
from wardexam.version import __version__


class Engine:
    """The rows and the sums kept between two readings; one for a process."""

    def __init__(self, hypotheses: Hypotheses) -> None:
        self.hypotheses = hypotheses
        self.sums = Sums(self.hypotheses)

    def posterior(self, findings: Findings, *, silence: bool = True) -> Posterior:
        """The posterior alone."""
        return self.sums.posterior(findings, silence=silence)

    def information(self, findings: Findings, *, silence: bool = True) -> dict[SignKey, float]:
        """Bits about the site that each unexamined bedside sign is expected to tell, by sign and side."""
        return information(self.posterior(findings, silence=silence), findings)

    def read(
        self, findings: Findings, *, silence: bool = True, earlier: Earlier | None = None
    ) -> Reading:
        """Everything inferred from what was found; nothing entered gives the prior.

        What contradicts is named and left out of where the lesion may be, not of the tool's own alarm; nor
        does what stands from before reach that.

        Args:
            findings: What was found.
            silence: Whether a sign left out of a part that was partly examined weighs a little.
            earlier: What stands of the stay: it weighs where it is not examined again, less the older it is.
        """
        clashes = contradictions(findings)
        heard = left_out(findings, clashes)
        before = earlier.beside(findings) if earlier else ()
        told = earlier.told(heard) if earlier else heard
        yes = answered_yes(told, [f for f, _ in before])
        posterior = self.sums.posterior(told, silence=silence, before=before, yes=yes)
        places = ranked(posterior, told.context.onset)
        story = self.sums.story(told, yes)
        of_now = None if told is heard else words_told(heard.context, answered_yes(heard))
        reasons = weighed(posterior, places, self.sums.among_all, story, told.context, of_now)
        limits, said = weighing_row("fit"), weighing_row("evidence")
        against = [e for e in reasons.field if e.weight < -said["worth"]]
        against = ordered(against, lambda e: -e.weight, lambda e: (e.key, e.text))
        opposed = {e.text for e in against}
        surprising, z = fit(posterior, places[0], told)
        dangerous = self._by_findings(posterior, findings, heard, told)
        # Of what was found now alone; worked out only where there is a choice of whom to name.
        alone = len(dangerous) > 1 and earlier is not None
        now = self.sums.posterior(heard, silence=silence) if alone else posterior
        known = told.model_copy(update={"findings": (*findings.findings, *(f for f, _ in before))})
        weighs = frozenset(t.key for t in posterior.terms if t.kind == "before")
        return Reading(
            sites=places,
            dangerous=_named_first(dangerous, now),
            supports=_odd_first([e for e in reasons.field if e.weight > said["worth"]], known)[
                : said["shown"]
            ],
            opposes=tuple(against[: said["shown"]]),
            separates=tuple(e for e in reasons.second if e.weight > said["worth"])[: said["shown"]],
            unexplained=tuple(t for t in surprising if t in opposed)[: limits["shown"]],
            fit=z,
            fits_one=z is None or z > limits["misfit"] or places[0].region in limits["never"],
            pair=two_lesions(
                posterior,
                self.sums.prior(told.context, yes),
                self.sums.likelihood,
                surprising,
                z,
                told.context.onset,
            ),
            alike=alike_cases(posterior),
            fragile=one_grade_off(posterior, places, told),
            next_signs=next_signs(posterior, told, rising(known)),
            asymmetries=asymmetries(findings),
            level_note=level_note(heard),
            contradictions=tuple(c.text for c in clashes),
            before=earlier.words(weighs) if earlier else "",
            entered=sum(1 for f in findings.findings if f.answer is not None),
            program=__version__,
            tables=fingerprint(),
        )

    def _by_findings(
        self, posterior: Posterior, findings: Findings, heard: Findings, told: Findings
    ) -> tuple[Site, ...]:
        """The urgent sites by what was found and told now: no statement, silence, flag, calm kind, nothing earlier enters.

        Where findings contradict, with them or without them, whichever is graver.
        """
        prior = self.sums.prior(findings.context, alarm=True)
        odd = {f.key for f in findings.findings if f.abnormal}
        now = told.context == findings.context and not any(
            t.kind == "before" for t in posterior.terms
        )
        if heard is findings and now and not findings.rest_normal:
            found = [t for t in posterior.terms if t.kind in ("finding", "story")]
            return alarming(self.sums.of(found, prior), odd, findings.context.onset)
        each = []
        for part in (findings,) if heard is findings else (findings, heard):
            bare = part.model_copy(update={"rest_normal": ()})
            sums = self.sums.of(terms(bare, silence=False), prior)
            each.append(alarming(sums, odd, findings.context.onset))
        return max(each, key=lambda sites: even_chance(sum(s.probability for s in sites)))


def _odd_first(weighed: Sequence[Evidence], known: Findings) -> tuple[Evidence, ...]:
    """What is out of the usual or told, then what was found usual; each in the order in which it stands."""
    odd, of_signs = {f.key for f in known.findings if f.abnormal}, ("finding", "before", "stated")
    return tuple(sorted(weighed, key=lambda e: e.kind in of_signs and e.key not in odd))


def _named_first(sites: tuple[Site, ...], posterior: Posterior) -> tuple[Site, ...]:
    """The urgent sites, first the one that the reading of what was found now makes most of.

    It is the one that is named: two lists of one screen shall not speak against each other.
    """
    if len(sites) < 2:
        return sites
    index = posterior.hypotheses.groups.index
    first = sites[first_likely([float(posterior.groups[index(s.id)]) for s in sites])]
    return (first, *(s for s in sites if s is not first))
