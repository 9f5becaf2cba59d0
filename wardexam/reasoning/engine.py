"""Bayes backwards: from the findings entered so far to a `Reading`."""

from functools import cache

from wardexam.exam.examination import Context, Findings
from wardexam.reasoning.inference.explanation import fit, weighed
from wardexam.reasoning.inference.next_sign import information, next_signs
from wardexam.reasoning.inference.posterior import Posterior, Sums, answered_yes
from wardexam.reasoning.inference.ranking import dangerous, ranked
from wardexam.reasoning.inference.sensitivity import one_grade_off
from wardexam.reasoning.inference.two_lesions import two_lesions
from wardexam.reasoning.model.hypotheses import Hypotheses, fingerprint, make
from wardexam.reasoning.reading import Reading, SignKey, Site
from wardexam.reasoning.rules.asymmetry import asymmetries, level_note
from wardexam.reasoning.tables import weighing_row
from wardexam.reasoning.ties import ordered
from wardexam.version import __version__


class Engine:
    """The rows and the sums kept between two readings; one for a process."""

    def __init__(self, hypotheses: Hypotheses | None = None) -> None:
        self.hypotheses = hypotheses or make()
        self.sums = Sums(self.hypotheses)

    def posterior(self, findings: Findings, *, silence: bool = True) -> Posterior:
        """The posterior alone."""
        return self.sums.posterior(findings, silence=silence)

    def information(self, findings: Findings, *, silence: bool = True) -> dict[SignKey, float]:
        """Bits about the site that each unexamined bedside sign is expected to tell, by sign and side."""
        return information(self.posterior(findings, silence=silence), findings)

    def read(self, findings: Findings, *, silence: bool = True) -> Reading:
        """Everything inferred from what was found; nothing entered gives the prior.

        Args:
            findings: What was found.
            silence: Whether a sign left out of a part that was partly examined weighs a little.
        """
        posterior = self.posterior(findings, silence=silence)
        places = ranked(posterior)
        reasons = weighed(posterior, places, self.sums.expected)
        against = ordered(reasons.field, lambda e: -e.weight, lambda e: (e.key, e.text))
        unexplained, z = fit(posterior, places[0], findings)
        limits, said = weighing_row("fit"), weighing_row("evidence")
        return Reading(
            sites=places,
            dangerous=self._by_findings(posterior, findings.context),
            supports=tuple(e for e in reasons.field if e.weight > said["worth"])[: said["shown"]],
            opposes=tuple(e for e in against if e.weight < -said["worth"])[: said["shown"]],
            separates=tuple(e for e in reasons.second if e.weight > said["worth"])[: said["shown"]],
            unexplained=unexplained,
            fit=z,
            fits_one=z is None or z > limits["misfit"],
            pair=two_lesions(posterior, self.sums.prior(findings.context, answered_yes(findings)))
            if z is not None and z < limits["doubtful"]
            else None,
            fragile=one_grade_off(posterior, places, findings),
            next_signs=next_signs(posterior, findings),
            asymmetries=asymmetries(findings),
            level_note=level_note(findings),
            entered=sum(1 for t in posterior.terms if t.kind == "finding"),
            program=__version__,
            tables=fingerprint(),
        )

    def _by_findings(self, posterior: Posterior, context: Context) -> tuple[Site, ...]:
        """The urgent sites by the findings alone: no statement, silence, flag or calm kind enters."""
        found = [t for t in posterior.terms if t.kind in ("finding", "story")]
        return dangerous(self.sums.of(found, self.sums.prior(context, alarm=True)))


@cache
def load() -> Engine:
    """An engine made from the tables, one for a process; `wardexam.ready` keeps its rows on disk."""
    return Engine()
