"""Could chance alone make a lot, a depot, some units, a time or a mixture stand out so much?"""

import numpy as np
from scipy.special import chdtrc

from rca.causes.pattern.calendar import Calendar, split_gain
from rca.causes.pattern.models import FEWEST_IN_LEVEL, Scored, Weibull
from rca.causes.pattern.part_lives import Array, Grouping, Ints

DRAWS = 399
ENOUGH = 100_000


def p_of_lots(base: Weibull, group: Grouping, rng: np.random.Generator) -> float:
    """Best level's gain against failures dealt out to the lots in proportion to the hazard run."""
    code = np.where(group.code < 0, len(group.names), group.code)
    due = np.bincount(code, weights=base.expected, minlength=len(group.names) + 1).astype(float)
    seen = np.bincount(code, weights=base.lives.failed, minlength=len(due)).astype(float)
    drawn = rng.multinomial(int(base.d), due / due.sum(), DRAWS).astype(float)
    named = slice(0, len(group.names))
    return _share(
        _best_gain(seen[None, named], due[None, named], base.d)[0],
        _best_gain(drawn[:, named], due[None, named], base.d),
    )


def p_of_depots(base: Weibull, group: Grouping, rng: np.random.Generator) -> float:
    """Best level's gain, of all lives or later ones, against units exchanged between the depots."""
    unit, later = base.lives.unit, base.lives.later
    size = len(unit.names)
    level = np.full(size, -1)
    level[unit.code] = group.code
    place = np.argsort(level, kind="stable")
    present, starts = np.unique(level[place], return_index=True)
    sums = [
        np.bincount(unit.code, weights=what * pieces, minlength=size).astype(float)
        for pieces in (np.ones_like(later), later)
        for what in (base.lives.failed, base.expected)
    ]
    by_unit = np.stack(sums, axis=1)  # failures and expected ones, of all lives and later ones

    def best(orders: Ints) -> Array:
        at = np.add.reduceat(by_unit[orders], starts, axis=1)[:, present >= 0]
        return np.maximum(
            _best_gain(at[..., 0], at[..., 1], base.d), _best_gain(at[..., 2], at[..., 3], base.d)
        )

    drawn = [best(rng.permuted(place)[None])[0] for _ in range(DRAWS)]
    return _share(float(best(place[None])[0]), np.array(drawn))


def _best_gain(seen: Array, due: Array, total: float) -> Array:
    """Largest gain over the levels (last axis), of those with 3 or more failures."""
    gain = split_gain(seen, np.maximum(due, 1e-9), total)
    best: Array = np.where(seen >= FEWEST_IN_LEVEL, gain, 0.0).max(axis=-1)
    return best


def _share(seen: float, drawn: Array) -> float:
    """Monte Carlo p: 1 added above and below (Barnard 1963, from memory)."""
    return float((1 + (drawn >= seen - 1e-9).sum()) / (len(drawn) + 1))


def p_of_units(best: Scored, ordinary: Scored) -> float:
    """Spread and later factor against the ordinary spread alone: chi-square, 2 degrees."""
    return float(chdtrc(2, 2 * max(0.0, best.log_likelihood - ordinary.log_likelihood)))


def p_of_season(season: Scored, ageing: Scored) -> float:
    """A yearly wave against none: chi-square, 2 degrees."""
    return float(chdtrc(2, 2 * max(0.0, season.log_likelihood - ageing.log_likelihood)))


def p_of_mixture(both: Scored, ageing: Scored) -> float:
    """Two hazards against one Weibull: chi-square, 2 degrees; conservative."""
    return float(chdtrc(2, 2 * max(0.0, both.log_likelihood - ageing.log_likelihood)))


def p_of_burst(base: Weibull, calendar: Calendar, rng: np.random.Generator) -> float:
    """Best window against failures dealt out over time in proportion to the hazard run.

    The scan is calibrated as a whole (Naus 1965; Kulldorff 1997, from memory).
    """
    chance = calendar.expected / calendar.expected.sum()
    drawn = rng.multinomial(int(base.d), chance, DRAWS).astype(float)
    seen, _ = calendar.gain(calendar.seen[None])
    return _share(float(seen[0]), calendar.gain(drawn)[0])


def kept_by_holm(p: dict[str, float], *, level: float = 0.05) -> tuple[str, ...]:
    """Names whose p passes Holm's step-down at `level`, smallest first."""
    kept: list[str] = []
    for step, name in enumerate(sorted(p, key=lambda one: p[one])):
        if p[name] > level / (len(p) - step):
            break
        kept.append(name)
    return tuple(kept)


def worst_tenth(base: Weibull, rng: np.random.Generator) -> tuple[int, int, float]:
    """Units in the worst tenth, their failures, and how many chance alone would give them."""
    unit = base.lives.unit
    size = len(unit.names)
    count = max(1, size // 10)
    seen = np.bincount(unit.code, weights=base.lives.failed, minlength=size)
    due = np.bincount(unit.code, weights=base.expected, minlength=size)
    draws = int(np.clip(ENOUGH // size, 40, 200))  # the mean over many units needs fewer
    drawn = rng.multinomial(int(base.d), due / due.sum(), draws)
    return count, int(_top(seen[None], count)[0]), float(_top(drawn, count).mean())


def _top(counts: Ints, number: int) -> Ints:
    top: Ints = np.partition(counts, -number, axis=1)[:, -number:].sum(axis=1)
    return top
