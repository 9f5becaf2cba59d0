"""Bayes backwards: from the findings entered so far to a `Reading`."""

from collections.abc import Callable
from functools import cache

from wardexam.exam.examination import Examination
from wardexam.reasoning.asking import next_signs
from wardexam.reasoning.asymmetry import asymmetries, level_note
from wardexam.reasoning.explaining import evidence, fit
from wardexam.reasoning.hypotheses import Hypotheses, make
from wardexam.reasoning.posterior import Posterior, Sums
from wardexam.reasoning.ranking import ranked
from wardexam.reasoning.reading import Reading

_MISFIT = -2.0  # z below which no one lesion is said to fit
_WORTH_SAYING = 0.1  # bans


class Engine:
    """The rows and the sums kept between two readings; one for a process."""

    def __init__(self, hypotheses: Hypotheses | None = None) -> None:
        self.hypotheses = hypotheses or make()
        self.sums = Sums(self.hypotheses)

    def posterior(self, examination: Examination, *, silence: bool = True) -> Posterior:
        """The posterior alone."""
        return self.sums.posterior(examination, silence=silence)

    def read(self, examination: Examination, *, silence: bool = True) -> Reading:
        """Everything inferred from an examination; nothing entered gives the prior.

        Args:
            examination: What was found.
            silence: Whether a sign left out of a part that was partly examined weighs a little.
        """
        posterior = self.posterior(examination, silence=silence)
        places = ranked(posterior)
        weights = evidence(posterior, places)
        unexplained, z = fit(posterior, places[0], examination)
        return Reading(
            sites=places,
            supports=tuple(e for e in weights if e.weight > _WORTH_SAYING)[:6],
            opposes=tuple(e for e in reversed(weights) if e.weight < -_WORTH_SAYING)[:6],
            unexplained=unexplained,
            fit=z,
            fits_one=z is None or z > _MISFIT,
            next_signs=next_signs(posterior, examination),
            asymmetries=asymmetries(examination),
            level_note=level_note(examination),
            entered=sum(1 for t in posterior.terms if t.kind == "finding"),
        )


@cache
def load(hypotheses: Callable[[], Hypotheses] = make) -> Engine:
    """The engine, made once for a process."""
    return Engine(hypotheses())
