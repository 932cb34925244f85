"""Do groups of lives fail alike: the log-rank test, stratified, with late entry."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import chdtrc

from rca.errors import NoFit
from rca.life.risksets import RiskSets, labels
from rca.life.sample import Array, Lives


@dataclass(frozen=True, slots=True, eq=False)
class LogRank:
    """Failures observed in each group against those expected if all groups failed alike.

    `groups` holds the labels in the order of `observed` and `expected`.
    """

    groups: tuple[str, ...]
    observed: Array
    expected: Array
    chi_square: float
    degrees: int
    p_value: float

    def __str__(self) -> str:
        by_group = ", ".join(
            f"{group}: {seen:g} failed, {due:.1f} expected"
            for group, seen, due in zip(self.groups, self.observed, self.expected, strict=True)
        )
        test = f"chi-square {self.chi_square:.2f} on {self.degrees}, p = {self.p_value:.3g}"
        return f"log-rank {test} ({by_group})"


def log_rank(lives: Lives, group: ArrayLike, *, strata: ArrayLike | None = None) -> LogRank:
    """Test whether groups of lives share one hazard at every age, within each stratum.

    At each failure age of a stratum, with d failures among Y at risk (entry < age) of whom Y_g
    in group g, d Y_g / Y are expected there, with the hypergeometric covariance
    d (Y - d) / (Y - 1) * (Y_g / Y) (1{g = h} - Y_h / Y). The sums over all strata give
    (O - E)' V^-1 (O - E), chi-square with one degree of freedom less than groups that meet.

    Parameters
    ----------
    group, strata
        One label a life. Strata, for example the unit, are compared only within themselves, so
        that mere spread between units is not taken for a difference. For later lives against
        earlier ones of the same unit give completed lives alone: given how many a unit had, they
        could have come in any order. With the life still running among them the test calls a
        third of fleets without trend different (tests/life/test_logrank.py): a unit has later
        lives only where its earlier ones were short.

    Raises
    ------
    NoFit
        Where no failure has lives of two groups at risk.

    References
    ----------
    Mantel (1966), Cancer Chemotherapy Reports 50; Klein & Moeschberger (2003), section 7.3 (both
    from memory).
    """
    names, code = labels("group", group, len(lives))
    sets = RiskSets.of(lives, strata=strata)
    inside = [lives.count * (code == g) for g in range(len(names))]
    observed = np.array([sets.failing(weight).sum() for weight in inside])
    at_risk = np.array([sets.at_risk(weight) for weight in inside])
    everyone = at_risk.sum(axis=0)
    share = at_risk / everyone
    expected = share @ sets.deaths
    scatter = sets.deaths * (everyone - sets.deaths) / np.maximum(everyone - 1, 1)
    weighted = share * scatter
    covariance = np.diag(weighted.sum(axis=1)) - weighted @ share.T
    # Groups that never meet another add nothing: the inverse is taken over those that do.
    values, vectors = np.linalg.eigh(covariance)
    real = values > 1e-9 * max(values.max(initial=0.0), 1e-300)
    degrees = int(real.sum())
    if len(names) < 2 or degrees == 0:
        raise NoFit(
            "No failure happened while lives of two groups were at risk"
            + (" in the same stratum." if strata is not None else "."),
            next_step="compare groups whose ages overlap, or use fewer strata",
        )
    turned = vectors[:, real].T @ (observed - expected)
    chi_square = float((turned**2 / values[real]).sum())
    return LogRank(
        tuple(str(name) for name in names),
        observed,
        expected,
        chi_square,
        degrees,
        float(chdtrc(degrees, chi_square)),
    )
