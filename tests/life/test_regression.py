"""Proportional hazards against statsmodels, lifelines and the slow definition; where peers err."""

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from lifelines import CoxPHFitter
from statsmodels.duration.hazard_regression import PHReg

from rca.errors import NoFit, RcaError
from rca.life.regression import proportional_hazards
from rca.life.sample import Lives
from tests.life.engines import peers_as_met


class Sample:
    """Lives of units that differ, with late entry; `tied` puts all ages on whole days."""

    def __init__(self, seed: int, *, tied: bool, n: int = 300) -> None:
        rng = np.random.default_rng(seed)
        step = np.ceil if tied else np.asarray
        self.unit = rng.integers(0, 60, n)
        self.x = rng.normal(size=(n, 2))
        hazard = np.exp(0.5 * self.x[:, 0] + rng.normal(0, 0.5, 60)[self.unit])
        self.entry = step(rng.uniform(0, 20, n))
        self.age = self.entry + step(rng.exponential(30 / hazard))
        self.failed = rng.uniform(size=n) < 0.7
        self.failed[[self.age.argmin(), self.age.argmax()]] = True
        self.stratum = self.unit % 3
        self.lives = Lives.right_censored(self.age, self.failed, entry=self.entry)
        self.columns = {"load": self.x[:, 0], "heat": self.x[:, 1]}

    def frame(self) -> pd.DataFrame:
        return pd.DataFrame(
            {
                **self.columns,
                "entry": self.entry,
                "age": self.age,
                "failed": self.failed,
                "unit": self.unit,
                "stratum": self.stratum,
            }
        )

    def peer(self, **options: object) -> PHReg:
        return PHReg(
            self.age, self.x, status=self.failed, entry=self.entry, ties="efron", **options
        )


def _by_definition(sample: Sample, coefficient: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Efron's score residuals and information, failure age by failure age, tie by tie."""
    weight = np.exp(sample.x @ coefficient)
    residuals, information = np.zeros_like(sample.x), np.zeros((2, 2))
    for age in np.unique(sample.age[sample.failed]):
        at_risk = (sample.entry < age) & (sample.age >= age)
        tied = sample.failed & (sample.age == age)
        ties = tied.sum()
        for turn in range(ties):
            share = weight * at_risk * np.where(tied, 1 - turn / ties, 1.0)
            mean = share @ sample.x / share.sum()
            centred = sample.x - mean
            residuals += (tied / ties - share / share.sum())[:, None] * centred
            information += (share[:, None] * centred).T @ centred / share.sum()
    return residuals, information


@pytest.mark.parametrize("strata", [False, True])
@pytest.mark.parametrize("seed", range(3))
def test_against_statsmodels_without_ties(seed: int, strata: bool) -> None:
    """No ties, late entry: estimates and errors from the curvature agree to 1e-6."""
    sample = Sample(seed, tied=False)
    stratum = sample.stratum if strata else None
    peer = sample.peer(strata=stratum).fit()
    found = proportional_hazards(sample.lives, sample.columns, strata=stratum)
    np.testing.assert_allclose(found.coefficient, peer.params, rtol=1e-6, atol=1e-8)
    np.testing.assert_allclose(found.standard_error, peer.bse, rtol=1e-6)
    assert found.log_likelihood == pytest.approx(peer.llf, rel=1e-9)


@pytest.mark.parametrize("seed", range(3))
def test_errors_by_unit_against_statsmodels(seed: int) -> None:
    """Errors by unit agree to 1e-6 where statsmodels has them right.

    That is without ties, without strata, all watched from new and the first life failed: it leaves
    out lives that meet no failure but not their labels, and gives lives that lie between two
    failures a residual.
    """
    sample = Sample(seed, tied=False)
    sample.entry = np.zeros(300)
    lives = Lives.right_censored(sample.age, sample.failed)
    peer = sample.peer().fit(groups=sample.unit)
    found = proportional_hazards(lives, sample.columns, cluster=sample.unit)
    np.testing.assert_allclose(found.standard_error, peer.bse, rtol=1e-6)


@pytest.mark.parametrize("strata", [False, True])
@pytest.mark.parametrize("seed", range(3))
def test_against_lifelines_with_ties(seed: int, strata: bool) -> None:
    """Whole days and late entry: lifelines has estimates and errors from the curvature right."""
    sample = Sample(seed, tied=True)
    frame = sample.frame().drop(columns=["unit"] + ([] if strata else ["stratum"]))
    peer = CoxPHFitter().fit(
        frame,
        "age",
        "failed",
        entry_col="entry",
        strata=["stratum"] if strata else None,
        fit_options={"precision": 1e-12, "r_precision": 1e-14},
    )
    found = proportional_hazards(
        sample.lives, sample.columns, strata=sample.stratum if strata else None
    )
    np.testing.assert_allclose(found.coefficient, peer.params_, rtol=1e-5, atol=1e-7)
    np.testing.assert_allclose(found.standard_error, peer.standard_errors_, rtol=1e-5)


@pytest.mark.parametrize("tied", [False, True])
@pytest.mark.parametrize("seed", range(3))
def test_errors_by_unit_against_the_definition(seed: int, tied: bool) -> None:
    """Ties, late entry and clusters at once, where no peer is right: written out."""
    sample = Sample(seed, tied=tied)
    found = proportional_hazards(sample.lives, sample.columns, cluster=sample.unit)
    residuals, information = _by_definition(sample, found.coefficient)
    np.testing.assert_allclose(residuals.sum(axis=0), 0, atol=1e-7)
    sums = pd.DataFrame(residuals).groupby(sample.unit).sum().to_numpy()
    bread = np.linalg.inv(information)
    np.testing.assert_allclose(found.covariance, bread @ sums.T @ sums @ bread, rtol=1e-8)


@peers_as_met
def test_where_the_peers_err() -> None:
    """Traps: statsmodels under ties, lifelines under late entry, as measured here.

    statsmodels 0.15.0 counts a life as at risk at its own entry age, which moves the estimate;
    with entries shifted by half a day the estimate is ours, yet its score residuals are not
    Efron's nor Breslow's, so that errors by unit differ still. lifelines 0.30.3 has other errors
    by unit as soon as lives enter late, without any tie.
    """
    tied, smooth = Sample(0, tied=True), Sample(0, tied=False)
    ours = proportional_hazards(tied.lives, tied.columns, cluster=tied.unit)
    as_is = tied.peer().fit()
    assert np.abs(as_is.params - ours.coefficient).max() > 1e-4
    tied.entry = tied.entry + 0.5
    shifted = tied.peer().fit(groups=tied.unit)
    np.testing.assert_allclose(shifted.params, ours.coefficient, rtol=1e-6)
    assert np.abs(shifted.bse / ours.standard_error - 1).max() > 1e-3
    ours = proportional_hazards(smooth.lives, smooth.columns, cluster=smooth.unit)
    frame = smooth.frame().drop(columns="stratum")
    peer = CoxPHFitter().fit(frame, "age", "failed", entry_col="entry", cluster_col="unit")
    assert np.abs(peer.standard_errors_ / ours.standard_error - 1).max() > 1e-3


@given(st.integers(0, 1000))
def test_a_count_is_as_many_rows(seed: int) -> None:
    """Counts are repeated lives, for estimate and both kinds of errors."""
    sample = Sample(seed, tied=True, n=60)
    counts = np.random.default_rng(seed).integers(1, 4, 60)
    lives = Lives(sample.lives.low, sample.lives.high, sample.entry, counts.astype(float))
    rows = np.repeat(np.arange(60), counts)
    repeated = Lives.right_censored(sample.age[rows], sample.failed[rows], entry=sample.entry[rows])
    for cluster in (None, sample.unit):
        one = proportional_hazards(lives, sample.columns, cluster=cluster)
        many = proportional_hazards(
            repeated,
            {name: column[rows] for name, column in sample.columns.items()},
            cluster=None if cluster is None else cluster[rows],
        )
        np.testing.assert_allclose(one.coefficient, many.coefficient, rtol=1e-7, atol=1e-9)
        np.testing.assert_allclose(one.covariance, many.covariance, rtol=1e-6, atol=1e-12)


@given(st.integers(0, 1000), st.floats(-50, 50), st.floats(0.01, 100))
def test_another_scale_of_a_covariate(seed: int, shift: float, factor: float) -> None:
    """A covariate in another unit: its ratio is per that unit, nothing else moves."""
    sample = Sample(seed, tied=True, n=80)
    one = proportional_hazards(sample.lives, sample.columns)
    moved = {**sample.columns, "load": shift + factor * sample.x[:, 0]}
    other = proportional_hazards(sample.lives, moved)
    assert other.coefficient[0] * factor == pytest.approx(one.coefficient[0], rel=1e-6, abs=1e-8)
    assert other.coefficient[1] == pytest.approx(one.coefficient[1], rel=1e-6, abs=1e-8)
    assert other.log_likelihood == pytest.approx(one.log_likelihood, rel=1e-9)


def test_intervals_by_unit_cover() -> None:
    """A covariate of the unit: errors by unit cover, those from the curvature do not."""
    rng = np.random.default_rng(11)
    hits, runs = np.zeros(2), 200
    for _ in range(runs):
        unit = np.repeat(np.arange(60), 5)
        duty = rng.normal(size=60)
        spread = rng.gamma(2, 0.5, 60)
        life = rng.exponential(1 / spread[unit])
        end = rng.uniform(0.5, 2, 300)
        lives = Lives.right_censored(np.minimum(life, end), life <= end)
        for place, cluster in enumerate((None, unit)):
            fit = proportional_hazards(lives, {"duty": duty[unit]}, cluster=cluster)
            ratio = fit.ratio("duty")
            hits[place] += ratio.lower <= 1 <= ratio.upper
    assert hits[0] / runs < 0.88
    assert 0.89 <= hits[1] / runs <= 0.98


def test_what_is_said() -> None:
    """Ratio, limits and p of a covariate; few units are warned of; an unknown name is refused."""
    sample = Sample(4, tied=True)
    fit = proportional_hazards(sample.lives, sample.columns, cluster=sample.unit % 9)
    ratio = fit.ratio("load")
    assert ratio.lower < ratio.value < ratio.upper
    assert ratio.value == pytest.approx(np.exp(fit.coefficient[0]))
    assert "only 9 units" in str(fit)
    assert fit.log_likelihood > fit.null_log_likelihood
    with pytest.raises(RcaError, match="no covariate 'duty'; there are load, heat"):
        fit.ratio("duty")


FOUR = Lives.right_censored([1, 2, 3, 4], [1, 1, 1, 0])


@pytest.mark.parametrize(
    ("lives", "columns", "message"),
    [
        (FOUR, {"a": [2, 2, 2, 2]}, "a is the same for all"),
        (FOUR, {"a": [9, 5, 1, 0]}, "No finite hazard ratio for a"),
        (FOUR, {"a": [1, 2, 0, 1], "b": [2, 4, 0, 2]}, "No finite hazard ratio"),
        (FOUR, {"a": [1, 2, np.nan, 1]}, "a is unknown in 1 of 4"),
        (FOUR, {"a": [1, 2]}, "a has shape"),
        (FOUR, {}, "no covariate"),
        (Lives.right_censored([1, 2], [0, 0]), {"a": [0, 1]}, "No life failed"),
        (Lives(FOUR.low, FOUR.high, FOUR.entry, FOUR.count * 1.5), {"a": [1, 2, 0, 1]}, "whole"),
    ],
)
def test_refusals(lives: Lives, columns: dict, message: str) -> None:
    """No ratio where none exists, and one clear error for wrong input."""
    with pytest.raises((NoFit, RcaError), match=message):
        proportional_hazards(lives, columns)
