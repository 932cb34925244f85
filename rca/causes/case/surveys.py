"""Surveys: on how many failed units a cause was found, against units that did not fail."""

from dataclasses import dataclass

import numpy as np
from scipy.stats.contingency import odds_ratio

from rca.causes.case.entries import Seen
from rca.causes.case.observations import Survey
from rca.life.sample import Interval


@dataclass(frozen=True, slots=True)
class OddsFound:
    """Odds of finding the cause on failed units over those on the others, with exact limits."""

    failed: Seen
    not_failed: Seen
    ratio: float
    interval: Interval

    def __str__(self) -> str:
        return (
            f"found on {self.failed.seen} of {self.failed.of} failed and "
            f"{self.not_failed.seen} of {self.not_failed.of} other units; "
            f"odds ratio {self.ratio:.3g}, {self.interval}"
        )


def compute_survey(survey: Survey, *, confidence: float = 0.95) -> OddsFound:
    """Odds ratio of finding the cause on failed against not failed units, with exact limits.

    Conditional maximum likelihood and Fisher's exact limits, as in scipy.stats.contingency.
    """
    failed, good = survey.failed, survey.not_failed
    table = [[failed.seen, failed.of - failed.seen], [good.seen, good.of - good.seen]]
    found = odds_ratio(np.array(table), kind="conditional")
    limits = found.confidence_interval(confidence_level=confidence)
    interval = Interval(float(limits.low), float(limits.high), confidence, "Fisher exact")
    return OddsFound(failed, good, float(found.statistic), interval)
