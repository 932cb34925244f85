"""Which curve fits best, by AIC."""

import numpy as np
import pytest

from rca.errors import NoFit
from rca.life.rivals import compare_curves
from rca.life.sample import Lives
from rca.life.weibull import fit_weibull
from tests.life.odd_lives import drawn_lives
from tests.published import GENFAN, NIST_WEIBULL_20, cracks, late_entry_150, right_censored


def test_aic_of_published_samples() -> None:
    """S01 prints AIC 154.27 for Weibull (NIST/SEMATECH e-Handbook 8.4.1.3); the rest by formula."""
    rivals = compare_curves(right_censored(NIST_WEIBULL_20))
    aic = {rival.name: rival.aic for rival in rivals.curves}
    assert aic["Weibull"] == pytest.approx(154.27, abs=0.006)
    # Exponential: total time over failures; log-likelihood -r (ln mean + 1).
    total = sum(age for age, _ in NIST_WEIBULL_20)
    assert aic["exponential"] == pytest.approx(2 + 2 * 10 * (np.log(total / 10) + 1))
    assert rivals.curves[0].behind == 0
    assert not rivals.told_apart
    assert "cannot tell them apart" in str(rivals)


def test_one_parameter_less_wins_where_two_say_nothing_more() -> None:
    """S02: the fans' shape is 1.06, so the exponential leads by nearly 2, not more."""
    rivals = compare_curves(right_censored(GENFAN))
    assert rivals.curves[0].name == "exponential"
    behind = {rival.name: rival.behind for rival in rivals.curves}
    assert 1.8 < behind["Weibull"] < 2


@pytest.mark.parametrize("lives", [cracks(), late_entry_150()], ids=["cracks", "late"])
def test_censoring_of_every_kind_is_compared_alike(lives: Lives) -> None:
    """Late and interval-censored lives enter all three; here Weibull leads beyond doubt."""
    rivals = compare_curves(lives)
    assert [rival.name for rival in rivals.curves] == ["Weibull", "lognormal", "exponential"]
    assert rivals.told_apart
    assert rivals.curves[2].aic == pytest.approx(fit_weibull(lives, shape=1).aic)


def test_the_true_curve_is_found() -> None:
    """2000 lives of each kind, staggered and late: the true curve leads."""
    rng = np.random.default_rng(3)
    weibull = drawn_lives(rng, 2000, late=True)
    assert compare_curves(weibull).curves[0].name == "Weibull"
    life, end = 1000 * np.exp(0.7 * rng.normal(size=2000)), rng.uniform(300, 3000, 2000)
    lognormal = Lives.right_censored(np.minimum(life, end), life <= end)
    assert compare_curves(lognormal).curves[0].name == "lognormal"


def test_what_cannot_be_fitted_is_told() -> None:
    """One failure at the largest age leaves the exponential; no failure leaves nothing."""
    rivals = compare_curves(Lives.right_censored([5.0, 3.0], [1, 0]))
    assert [rival.name for rival in rivals.curves] == ["exponential"]
    assert set(rivals.refused) == {"Weibull", "lognormal"}
    assert not rivals.told_apart
    assert str(rivals).startswith("AIC")
    with pytest.raises(NoFit, match="none of the 2 lives failed"):
        compare_curves(Lives.right_censored([5.0, 3.0], [0, 0]))
    with pytest.raises(NoFit, match="ever seen to survive"):
        compare_curves(Lives.between([0.0], [3.0]))
