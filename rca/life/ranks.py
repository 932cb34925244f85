"""Median-rank regression: the classical line on a probability plot, without intervals.

Each failure gets the median of its rank among all lives; a line through ln(-ln(1 - rank)) over
ln(age) gives shape and scale. Suspensions move the ranks of later failures (Johnson). Use the
maximum-likelihood fit for decisions; the line is there to be recognised.
"""

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy.special import betaincinv

from rca.errors import NoFit, RcaError
from rca.life.sample import Array, Lives

Direction = Literal["age on rank", "rank on age"]
Ranks = Literal["approximate", "exact"]


@dataclass(frozen=True, slots=True, eq=False)
class RankLine:
    """Line through the median ranks of the failures.

    Attributes
    ----------
    shape, scale
        As in `WeibullFit`; `scale` in `unit`.
    regress
        "age on rank" (x on y: the line with the least squared distances in ln age) or
        "rank on age" (y on x). The two differ, often by a tenth of the shape.
    r_squared
        Squared correlation of the points; it compares no models.
    age, adjusted_rank, share_failed
        The points: age of each failure, its adjusted rank, its median rank.
    """

    shape: float
    scale: float
    regress: Direction
    r_squared: float
    age: Array
    adjusted_rank: Array
    share_failed: Array
    unit: str = ""

    def life(self, share_failed: float) -> float:
        """Age on the line by which `share_failed` (between 0 and 1) have failed."""
        if not 0 < share_failed < 1:
            raise RcaError(f"share_failed must lie between 0 and 1, not {share_failed!r}")
        return self.scale * (-math.log1p(-share_failed)) ** (1.0 / self.shape)

    def __str__(self) -> str:
        return (
            f"Median-rank line, {self.regress}, {len(self.age)} failures: shape {self.shape:.4g}, "
            f"scale {self.scale:.4g} {self.unit}".rstrip()
        )


def fit_median_ranks(
    lives: Lives, *, regress: Direction = "age on rank", ranks: Ranks = "approximate"
) -> RankLine:
    """Line through the median ranks of exact failures among exact suspensions.

    `ranks`: "approximate" is (rank - 0.3) / (n + 0.4) (Benard), "exact" the median of the beta
    distribution of the rank. A failure counts before a suspension at the same age; failures at
    one age get one rank each (common practice, no source).

    Raises
    ------
    NoFit
        For interval-censored or late lives, for parts of lives as counts, and where the failures
        do not lie at two ages at least.
    """
    age, adjusted = adjusted_ranks(lives)
    if len(np.unique(age)) < 2:
        raise NoFit(
            f"a line needs failures at two ages, here are {len(np.unique(age))}",
            next_step="wait for more failures, or give a known shape to fit_weibull",
        )
    n = lives.n_failed + lives.n_running
    share = median_rank(adjusted, n, ranks=ranks)
    x, y = np.log(age), np.log(-np.log1p(-share))
    dx, dy = x - x.mean(), y - y.mean()
    xx, xy, yy = float(dx @ dx), float(dx @ dy), float(dy @ dy)
    if regress not in ("age on rank", "rank on age"):
        raise RcaError(f'regress must be "age on rank" or "rank on age", not {regress!r}')
    shape = yy / xy if regress == "age on rank" else xy / xx
    return RankLine(
        shape=shape,
        scale=math.exp(float(x.mean()) - float(y.mean()) / shape),
        regress=regress,
        r_squared=xy * xy / (xx * yy),
        age=age,
        adjusted_rank=adjusted,
        share_failed=share,
        unit=lives.unit,
    )


def adjusted_ranks(lives: Lives) -> tuple[Array, Array]:
    """Ages of the failures in order, and their ranks adjusted for suspensions (Johnson).

    The rank grows by (n + 1 - previous rank) / (1 + lives at or beyond), so n + 1 - rank is
    n + 1 times the product of m / (m + 1) over the failures so far, m the lives at or beyond.
    """
    if not (lives.exact | lives.running).all() or lives.entry.any():
        raise NoFit(
            "median ranks need exact ages of lives watched from new",
            next_step="use fit_weibull, which takes interval-censored and late lives",
        )
    count = np.rint(lives.count).astype(int)
    if (count != lives.count).any():
        raise NoFit("median ranks need whole counts of lives", next_step="use fit_weibull")
    age, failed = np.repeat(lives.low, count), np.repeat(lives.exact, count)
    order = np.lexsort((~failed, age))
    at_or_beyond = np.arange(len(age), 0, -1)[failed[order]]
    left = np.cumprod(at_or_beyond / (at_or_beyond + 1.0), dtype=np.float64) * (len(age) + 1)
    return age[order][failed[order]], len(age) + 1 - left


def median_rank(rank: Array, n: float, *, ranks: Ranks = "approximate") -> Array:
    """Median share failed at an (adjusted) rank among `n` lives."""
    if ranks == "approximate":
        return (rank - 0.3) / (n + 0.4)
    if ranks == "exact":
        return np.asarray(betaincinv(rank, n - rank + 1.0, 0.5))
    raise RcaError(f'ranks must be "approximate" or "exact", not {ranks!r}')
