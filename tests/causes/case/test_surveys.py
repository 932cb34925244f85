"""Surveys of failed and not failed units against published limits."""

import pytest
from scipy.stats import nchypergeom_fisher

from rca.causes.case.entries import Seen
from rca.causes.case.observations import Survey
from rca.causes.case.surveys import compute_survey


def test_survey_has_fishers_limits() -> None:
    """The tea tasting of Fisher: 3 of 4 against 1 of 4.

    R's fisher.test prints 6.408309 with limits 0.2117329 and 621.9337505, and one-sided 0.3135693,
    which is the lower limit of a two-sided 90 % interval (from memory; R solves for the upper
    limit loosely). Exactly, each limit leaves 2.5 % in its tail.
    """
    tea = Survey(Seen(3, 4), Seen(1, 4))
    found = compute_survey(tea)
    interval = found.interval
    assert found.ratio == pytest.approx(6.408309, rel=1e-5)
    assert interval.lower == pytest.approx(0.2117329, rel=1e-4)
    assert interval.upper == pytest.approx(621.9337505, rel=0.01)
    assert nchypergeom_fisher(8, 4, 4, interval.upper).cdf(3) == pytest.approx(0.025, rel=1e-6)
    assert nchypergeom_fisher(8, 4, 4, interval.lower).sf(2) == pytest.approx(0.025, rel=1e-6)
    assert compute_survey(tea, confidence=0.9).interval.lower == pytest.approx(0.3135693, rel=1e-4)
    assert str(found).startswith("found on 3 of 4 failed and 1 of 4 other units; odds ratio 6.41")
