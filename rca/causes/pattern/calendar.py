"""A burst: a span of calendar days with more failures than the ages run in it would give."""

from dataclasses import dataclass

import numpy as np

from rca.causes.pattern.models import Scored, Weibull
from rca.causes.pattern.part_lives import Array

STEP_DAYS = 5
BURST_STEPS = (6, 9, 12, 18, 24, 36)
"""Windows of a burst: 30, 45, 60, 90, 120, 180 days."""
FEWEST_IN_BURST = 4
YEAR_DAYS = 365.25
YEARS_FOR_A_SEASON = 2.0
"""A season shows only where the same days were watched in two years or more."""


@dataclass(frozen=True, slots=True)
class Window:
    """A span of calendar days [begin, end) with more failures than the ages run would give."""

    begin: int
    end: int
    failures: int
    expected: float


@dataclass(frozen=True, slots=True, eq=False)
class Calendar:
    """Failures seen and expected in steps of 5 days, at the ages really run."""

    origin: int
    seen: Array
    expected: Array

    @classmethod
    def of(cls, base: Weibull) -> "Calendar":
        """Spread each piece's expectation over its days; age advances evenly."""
        lives = base.lives
        origin = int(lives.begin.min())
        begin, end = lives.begin - origin, np.maximum(lives.end - origin, lives.begin - origin + 1)
        edges = (end - 1) // STEP_DAYS - begin // STEP_DAYS + 2  # of the steps a piece lies in
        piece = np.repeat(np.arange(len(begin)), edges)
        nth = np.arange(edges.sum()) - np.repeat(np.cumsum(edges) - edges, edges)
        step = begin[piece] // STEP_DAYS + nth
        pace = (lives.age - lives.entry) / (end - begin)
        at = np.clip(step * STEP_DAYS, begin[piece], end[piece]) - begin[piece]
        hazard = (lives.entry[piece] + at * pace[piece]) ** base.shape
        inside = np.flatnonzero(piece[1:] == piece[:-1])
        size = int(step[inside].max()) + 1
        due = np.bincount(step[inside], np.diff(hazard)[inside], size)
        at = (end[lives.failed] - 1) // STEP_DAYS
        return cls(origin, np.bincount(at, minlength=size).astype(float), due * base.d / due.sum())

    def gain(self, seen: Array) -> tuple[Array, Array]:
        """Best gain in log-likelihood over all windows (last axis of `seen` = steps), and where.

        Where is number of the window's length x steps + first step.
        """
        size, total = seen.shape[-1], float(self.seen.sum())
        counts = np.concatenate([np.zeros((*seen.shape[:-1], 1)), seen.cumsum(-1)], axis=-1)
        dues = np.concatenate([[0.0], self.expected.cumsum()])
        best = np.zeros(seen.shape[:-1])
        where = np.full(seen.shape[:-1], -1)
        for number, width in enumerate(BURST_STEPS):
            if width >= size:
                break
            inside = counts[..., width:] - counts[..., :-width]
            due = np.maximum(dues[width:] - dues[:-width], 1e-9)
            gain = np.where(inside >= FEWEST_IN_BURST, split_gain(inside, due, total), 0.0)
            top = gain.argmax(axis=-1)
            value = np.take_along_axis(gain, top[..., None], axis=-1)[..., 0]
            where = np.where(value > best, number * size + top, where)
            best = np.maximum(best, value)
        return best, where

    def window(self, where: int) -> Window:
        """The window at a place told by `gain`."""
        number, first = divmod(where, len(self.seen))
        inside = slice(first, first + BURST_STEPS[number])
        begin = self.origin + first * STEP_DAYS
        return Window(
            begin,
            begin + BURST_STEPS[number] * STEP_DAYS,
            int(self.seen[inside].sum()),
            float(self.expected[inside].sum()),
        )


def split_gain(inside: Array, due: Array, total: float) -> Array:
    """O log(O / E) + (D - O) log((D - O) / (D - E)) where O > E, else 0; counts are whole."""
    count = np.arange(int(total) + 1)
    times_log = count * np.log(np.maximum(count, 1))
    whole = inside.astype(np.int64)
    rest = int(total) - whole
    others = np.log(np.maximum(total - due, 1e-9))
    gain = times_log[whole] + times_log[rest] - inside * np.log(due) - rest * others
    return np.where(inside > due, gain, 0.0)


def burst(base: Weibull, calendar: Calendar) -> Scored:
    """Failures are more frequent in some window of calendar time."""
    gain, where = calendar.gain(calendar.seen)
    found = calendar.window(int(where)) if where >= 0 else None
    return base.scored("burst", base.log_likelihood + float(gain), 5, found)


@dataclass(frozen=True, slots=True)
class Season:
    """A yearly rise and fall: busiest day of the year, and busiest over calmest rate."""

    busiest: int  # days since 1970-01-01, one of them
    ratio: float


def season(base: Weibull, calendar: Calendar) -> Scored | None:
    """The hazard times exp(a cos + b sin) of the time of year; None below two years of records.

    Given D failures they fall into the steps like a multinomial: the gain in log-likelihood is
    sum O eta - D log(sum E exp(eta) / D), at its maximum over a and b by Newton's method.
    """
    day = calendar.origin + STEP_DAYS * (np.arange(len(calendar.seen)) + 0.5)
    if len(day) * STEP_DAYS < YEARS_FOR_A_SEASON * YEAR_DAYS:
        return None
    angle = 2 * np.pi * day / YEAR_DAYS
    wave = np.stack([np.cos(angle), np.sin(angle)])
    at = np.zeros(2)
    for _ in range(20):
        share = calendar.expected * np.exp(at @ wave)
        share /= share.sum()
        mean = wave @ share
        slope = wave @ calendar.seen - base.d * mean
        bend = base.d * ((wave * share) @ wave.T - np.outer(mean, mean))
        at = at + np.clip(np.linalg.solve(bend + 1e-9 * np.eye(2), slope), -1, 1)
    rate = calendar.expected @ np.exp(at @ wave) / base.d
    gain = float(at @ (wave @ calendar.seen) - base.d * np.log(rate))
    busiest = float(np.arctan2(at[1], at[0]) / (2 * np.pi) * YEAR_DAYS) % YEAR_DAYS
    found = Season(round(busiest), float(np.exp(2 * np.hypot(*at))))
    return base.scored("season", base.log_likelihood + gain, 4, found)
