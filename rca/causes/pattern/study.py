"""All models, tests and comparisons of one part's lives, before any word is chosen."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from rca.causes.pattern import models
from rca.causes.pattern import p_values as tests
from rca.causes.pattern.calendar import Calendar, Season, Window, burst, season
from rca.causes.pattern.later_lives import LaterLives, compare_later_lives
from rca.causes.pattern.models import Level, Scored, UnitsFit, Weibull
from rca.causes.pattern.part_lives import PartLives
from rca.life.sample import Interval
from rca.life.weibull import fit_weibull


@dataclass(frozen=True, slots=True, eq=False)
class Studied:
    """What was computed; `weight` sums to 1 over the models, a season among them."""

    lives: PartLives
    shape: float
    interval: Interval
    scored: Mapping[str, Scored]
    p: dict[str, float]
    weight: Mapping[str, float]
    season_p: float | None  # None where the records are too short to tell a season
    worst: tuple[int, int, float]
    spread: float
    later: LaterLives | None
    alike: UnitsFit | None

    @property
    def shape_of_a_unit(self) -> Interval:
        """Limits of the shape that a unit's own hazard has.

        `alike` is the fit with the ordinary spread between units, where that fits better than
        units all alike: mere spread makes the pooled hazard fall with age.
        """
        return Interval(*self.alike.limits) if self.alike is not None else self.interval

    def level(self, name: str) -> Level | None:
        """Lot or depot that stands out most."""
        found = self.scored[name].found if name in self.scored else None
        return found if isinstance(found, Level) else None

    @property
    def burst(self) -> Window | None:
        """Span of days that stands out most."""
        found = self.scored["burst"].found
        return found if isinstance(found, Window) else None

    @property
    def season(self) -> Season | None:
        """The yearly wave that fits best; None where the records are too short."""
        found = self.scored["season"].found if "season" in self.scored else None
        return found if isinstance(found, Season) else None

    def kept(self) -> tuple[str, ...]:
        """Places and times that chance hardly makes: Holm at 5 %; no burst that is a season."""
        return tests.kept_by_holm(self.p | {"burst": 1.0} if self.is_season else dict(self.p))

    @property
    def is_season(self) -> bool:
        """Whether a yearly wave fits the calendar better than one burst."""
        return self.weight.get("season", 0.0) > self.weight["burst"]


def study(lives: PartLives, *, ordinary_spread: float, seed: int) -> Studied:
    """Fit and test everything for one part.

    Raises
    ------
    NoFit
        No Weibull curve exists for these lives.
    """
    fit = fit_weibull(lives.sample())
    base = Weibull(lives, shape=fit.shape)
    rng = np.random.default_rng(seed)
    calendar = Calendar.of(base)
    every = [
        models.constant(base),
        models.ageing(base),
        models.units_apart(base),
        models.mixed(base),
        burst(base, calendar),
    ]
    scored = {one.name: one for one in every}
    plain_ageing = scored["ageing"]
    ordinary = models.units_apart(base, spread=ordinary_spread)
    p = {
        "units": tests.p_of_units(scored["units"], ordinary),
        "burst": tests.p_of_burst(base, calendar, rng),
        "mixed": tests.p_of_mixture(scored["mixed"], plain_ageing),
    }
    if lives.lot.usable:
        scored["lot"] = models.one_level(base, lives.lot, "lot")
        p["lot"] = tests.p_of_lots(base, lives.lot, rng)
    if lives.depot.usable:
        scored["depot"] = models.one_depot(base)
        p["depot"] = tests.p_of_depots(base, lives.depot, rng)
    # units that differ as much as on other parts are no story: plain ageing may have that spread
    spread_fits = ordinary.score > plain_ageing.score
    if spread_fits:
        scored["ageing"] = replace(ordinary, name="ageing")
    yearly = season(base, calendar)
    if yearly is not None:
        scored["season"] = yearly
    plain = models.units_fit(base)
    return Studied(
        lives=lives,
        shape=fit.shape,
        interval=fit.interval("shape"),
        scored=scored,
        p=p,
        weight=_weights(scored),
        season_p=tests.p_of_season(yearly, plain_ageing) if yearly is not None else None,
        worst=tests.worst_tenth(base, rng),
        spread=plain.spread,
        later=compare_later_lives(lives, plain),
        alike=ordinary.found if spread_fits else None,
    )


def _weights(scored: Mapping[str, Scored]) -> dict[str, float]:
    """exp(score), as shares of 1."""
    top = max(one.score for one in scored.values())
    raw = {name: float(np.exp(one.score - top)) for name, one in scored.items()}
    total = sum(raw.values())
    return {name: one / total for name, one in raw.items()}
