"""Has one Weibull curve been laid through two things: two modes, two lots, or an unseen mixture?

A mixed fit is dangerous because it looks plausible: half of the parts failing early and half by
wear give a shape near 1, "at random", and the advice that goes with it is wrong for both halves.
"""

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import chdtrc, ndtr

from rca.errors import NoFit
from rca.life.competing import lives_of_mode
from rca.life.nonparametric import demand_exact
from rca.life.risksets import labels
from rca.life.sample import Array, Lives
from rca.life.weibull import WeibullFit, fit_weibull

FEW_FAILURES = 10


@dataclass(frozen=True, slots=True)
class Bend:
    """Whether the lives bend away from the straight line of a Weibull plot.

    z
        Above 0 where the line steepens with age: early failures, then wear, be it by two modes or
        by two lots; below 0 where it flattens: a bad lot or bad units are used up first.
    p_value
        Two-sided. With 10 failures the test finds only gross bends, and hardly one that flattens.
    """

    z: float
    p_value: float
    n_failed: float
    fit: WeibullFit

    def reading(self, *, level: float = 0.05) -> Literal["straight", "steepens", "flattens"]:
        """Return how the line bends at error rate `level`: a hypothesis, to be tested by label."""
        if self.p_value > level:
            return "straight"
        return "steepens" if self.z > 0 else "flattens"

    def __str__(self) -> str:
        says = {
            "straight": "no bend shown",
            "steepens": "steepens: early and wear-out failures may be mixed (modes or lots)",
            "flattens": "flattens: some parts may be worse than the rest (a lot, some units)",
        }[self.reading()]
        return (
            f"{says} (z = {self.z:.2f}, p = {self.p_value:.3g}, {self.n_failed:g} failures, "
            f"one curve of shape {self.fit.shape:.3g})"
        )


@dataclass(frozen=True, slots=True)
class MixedFit:
    """One Weibull curve for all against curves of their own, by likelihood ratio.

    fits
        The curves by label. `left_out` holds labels without a curve of their own (no failure, or
        no maximum); their lives are not in the test.
    """

    chi_square: float
    degrees: int
    p_value: float
    joint: WeibullFit
    fits: dict[str, WeibullFit]
    left_out: tuple[str, ...]

    def __str__(self) -> str:
        own = ", ".join(
            f"{label or 'not stated'} {fit.shape:.3g}" for label, fit in self.fits.items()
        )
        few = any(fit.n_failed < FEW_FAILURES for fit in self.fits.values())
        note = "; so few failures call 6 to 12 % of like labels different" if few else ""
        return (
            f"one curve has shape {self.joint.shape:.3g}, own curves {own} (chi-square "
            f"{self.chi_square:.2f} on {self.degrees}, p = {self.p_value:.3g}{note})"
        )


def bend(lives: Lives) -> Bend:
    """Test whether ln H is a straight line in ln age, against a line with a bend.

    Score test of c = 0 in ln H(t) = level + b x + c x^2, x = ln t, for exact, right-censored and
    late-entry lives. At the Weibull fit the score of c is sum over failures of g_c less the
    integral of g_c dH over the ages watched, where g = d ln h / d (level, b, c)
    = (1, x + 1/b, x^2 + 2 x / b). Its variance is what the integrals of g g' dH leave for c once
    level and b are fitted; they have a closed form in H and x.

    Where modes compete H is a sum of powers of age, so ln H is convex in x: it steepens.

    Raises
    ------
    NoFit
        Where there is no Weibull fit, fewer than three distinct failure ages, or lives are known
        only to lie between two ages.

    References
    ----------
    Score test with the information of a counting process: Andersen, Borgan, Gill & Keiding (1993),
    chapter VI (from memory); the family and its integrals worked out here. Error rate in the tests.
    """
    demand_exact(lives, "The test of a bend")
    if len(np.unique(lives.low[lives.exact])) < 3:
        raise NoFit("A bend needs failures at three ages or more.")
    fit = fit_weibull(lives)
    weight, log_age = lives.count[lives.exact], np.log(lives.low[lives.exact])
    centre = float(weight @ log_age) / lives.n_failed
    moments = _moments(lives, fit, centre) - _moments(lives, fit, centre, at_entry=True)
    b = fit.shape
    # g as polynomials in x, lowest power first; their products meet the moments of dH.
    g = np.array([[1, 0, 0], [1 / b, 1, 0], [0, 2 / b, 1]])
    information = np.array([[np.convolve(p, q) @ moments for q in g] for p in g])
    x = log_age - centre
    score = float(weight @ (x**2 + 2 * x / b) - g[2] @ moments[:3])
    tied = information[:2, 2]
    variance = float(information[2, 2] - tied @ np.linalg.solve(information[:2, :2], tied))
    z = score / math.sqrt(variance)
    return Bend(z, 2 * float(ndtr(-abs(z))), lives.n_failed, fit)


def mixed_modes(lives: Lives, mode: ArrayLike) -> MixedFit:
    """Test whether the modes may be fitted as one: whether they share one shape.

    Modes compete, H = sum of (t / scale_k)^shape_k. With one shape the sum is again a Weibull
    curve, and which mode it was does not depend on the age: the likelihood of the one curve is
    then l + sum d_k ln(d_k / d). Twice the gain of own curves (each with the other modes as
    suspensions) is chi-square with modes - 1 degrees of freedom.

    Parameters
    ----------
    mode
        One label a life; only those of failed lives count.

    Raises
    ------
    NoFit
        Where fewer than two modes have a curve of their own.
    """
    names, code = labels("mode", mode, len(lives))
    fits, left_out = {}, []
    for place in np.unique(code[~lives.running]):
        label = str(names[place])
        try:
            fits[label] = fit_weibull(lives_of_mode(lives, names[code], of=names[place]))
        except NoFit:
            left_out.append(label)
    # What failed by a mode without a curve is a suspension for all the others.
    kept = np.isin(names[code].astype(str), list(fits)) & ~lives.running
    suspended = Lives(
        lives.low, np.where(kept, lives.high, np.inf), lives.entry, lives.count, lives.unit
    )
    joint = fit_weibull(suspended) if len(fits) > 1 else None
    failed = np.array([fit.n_failed for fit in fits.values()])
    by_label = float(failed @ np.log(failed / failed.sum())) if len(fits) else 0.0
    return _against(joint, fits, left_out, degrees=len(fits) - 1, by_label=by_label)


def mixed_lots(lives: Lives, lot: ArrayLike) -> MixedFit:
    """Test whether lots (or depots, makers, seasons) share one curve, shape and scale.

    Twice the gain in log-likelihood of own curves over one, chi-square with 2 (lots - 1) degrees
    of freedom. Lots without a curve of their own are left out of both sides and named.

    Raises
    ------
    NoFit
        Where fewer than two lots have a curve of their own.
    """
    names, code = labels("lot", lot, len(lives))
    fits, left_out, kept = {}, [], np.zeros(len(lives), dtype=bool)
    for place, name in enumerate(names):
        inside = code == place
        try:
            fits[str(name)] = fit_weibull(_chosen(lives, inside))
            kept |= inside
        except NoFit:
            left_out.append(str(name))
    joint = fit_weibull(_chosen(lives, kept)) if len(fits) > 1 else None
    return _against(joint, fits, left_out, degrees=2 * (len(fits) - 1), by_label=0.0)


def _against(
    joint: WeibullFit | None,
    fits: dict[str, WeibullFit],
    left_out: list[str],
    *,
    degrees: int,
    by_label: float,
) -> MixedFit:
    if joint is None:
        without = ", ".join(label or "not stated" for label in left_out)
        raise NoFit(
            f"Only {len(fits)} of {len(fits) + len(left_out)} labels have failures enough for a "
            "curve of their own" + (f" (without: {without})." if without else "."),
            next_step="look at the bend of the whole instead, or wait for more failures",
        )
    own = sum(fit.log_likelihood for fit in fits.values())
    chi_square = max(0.0, 2 * (own - joint.log_likelihood - by_label))
    p_value = float(chdtrc(degrees, chi_square))
    return MixedFit(chi_square, degrees, p_value, joint, fits, tuple(left_out))


def _chosen(lives: Lives, inside: Array) -> Lives:
    return Lives(
        lives.low[inside],
        lives.high[inside],
        lives.entry[inside],
        lives.count[inside],
        lives.unit,
    )


def _moments(lives: Lives, fit: WeibullFit, centre: float, *, at_entry: bool = False) -> Array:
    """Integrals of x^k dH, k = 0 to 4, from age 0 to the end (or entry) of all lives, summed.

    With dH = b H dx, integration by parts gives P_k = H x^k - (k / b) P_(k-1), P_0 = H.
    """
    age = lives.entry if at_entry else lives.low
    late = age > 0
    x, hazard = np.log(age[late]) - centre, fit.cumulative_hazard(age[late])
    part, sums = hazard, [float(lives.count[late] @ hazard)]
    for k in range(1, 5):
        part = hazard * x**k - k / fit.shape * part
        sums.append(float(lives.count[late] @ part))
    return np.array(sums)
