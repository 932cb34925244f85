"""Invented fleets for the upstream screen: what is recorded, what truly precedes what.

Every fleet has one target part and a number of other parts whose failures come as Poisson events
of the unit's duty. A `Scene` adds what fools a screen: visits, seasons, spells of hard work,
repeats, wear, damage done by the target; a `Precursor` multiplies the target's rate for some days
after each event of the part "precursor".
"""

from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd

BEGIN = np.datetime64("2021-01-01")
TARGET, PRECURSOR = "target", "precursor"
COMPANY = ("part 1", "part 2", "part 3")  # share the spells of hard work with the target
DAMAGED = ("part 4", "part 5")  # suffer when the target fails


@dataclass(frozen=True)
class Precursor:
    """Events after which the target fails `ratio` times as often, from lag[0] to lag[1] days.

    `share` of the target's failures fall into such days: it sets how frequent the events are.
    """

    ratio: float
    share: float
    lag: tuple[int, int]


@dataclass(frozen=True)
class Scene:
    """How a fleet is made."""

    units: int = 300
    parts: int = 60
    failures: int = 60
    years: int = 4
    rows_a_unit_year: float = 6.0
    duty_sd: float = 0.4
    features: frozenset[str] = frozenset()
    precursor: Precursor | None = None

    def with_(self, *features: str) -> "Scene":
        return replace(self, features=frozenset(features))


@dataclass
class Recorder:
    """Events as they are written down."""

    unit: list[np.ndarray] = field(default_factory=list)
    day: list[np.ndarray] = field(default_factory=list)
    part: list[np.ndarray] = field(default_factory=list)

    def add(self, unit: np.ndarray, day: np.ndarray, part: str | np.ndarray) -> None:
        self.unit.append(np.asarray(unit))
        self.day.append(np.asarray(day))
        self.part.append(np.broadcast_to(np.asarray(part, dtype=object), len(unit)))


def make_fleet(scene: Scene, rng: np.random.Generator) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return repairs and watch of one fleet."""
    world = _World(scene, rng)
    book = Recorder()
    parts = [f"part {number}" for number in range(1, scene.parts + 1)]
    rates = np.exp(rng.normal(0, 1, scene.parts))
    rates *= scene.rows_a_unit_year / 365 / rates.sum()
    for number, (part, rate) in enumerate(zip(parts, rates, strict=True)):
        weight = world.of_part(part, number)
        book.add(*world.place(weight, rng.poisson(rate * weight.sum())), part)
    if scene.precursor is not None:
        world.plant(scene.precursor, book)
    unit, day = world.fail()
    book.add(unit, day, TARGET)
    if "reverse" in scene.features:
        world.damage(unit, day, book)
    if "visits" in scene.features:
        world.visit(parts, rates, book)
    if "inspections" in scene.features:
        world.inspect(parts, book)
    if "repeats" in scene.features:
        world.repeat(book)
    repairs = pd.DataFrame(
        {
            "unit": np.concatenate(book.unit).astype(str),
            "date": BEGIN + np.concatenate(book.day).astype("timedelta64[D]"),
            "part": np.concatenate(book.part),
            "action": "replaced",
            "reason": "failure",
        }
    )
    repairs = repairs.sample(frac=1.0, random_state=int(rng.integers(1 << 31)), ignore_index=True)
    watch = pd.DataFrame(
        {
            "unit": np.arange(scene.units).astype(str),
            "watched_from": BEGIN + world.start.astype("timedelta64[D]"),
            "watched_to": BEGIN + np.timedelta64(world.days - 1, "D"),
        }
    )
    return repairs, watch


class _World:
    """Rates by unit and day (arrays units x days), relative to an ordinary unit and day."""

    def __init__(self, scene: Scene, rng: np.random.Generator) -> None:
        self.scene, self.rng = scene, rng
        self.days = scene.years * 365
        have = scene.features
        latest = self.days - 200 if "staggered" in have else 120 if "new fleet" in have else 365
        self.start = rng.integers(0, latest, scene.units)
        self.day = np.arange(self.days)
        watched = self.day[None, :] >= self.start[:, None]
        duty = np.exp(rng.normal(0, scene.duty_sd, scene.units) - scene.duty_sd**2 / 2)
        self.usual = (watched * duty[:, None]).astype(np.float32)
        self.hard = np.where(rng.random(scene.units) < 1 / 3, 4.0, 1.0)[:, None]
        self.phase = rng.random(scene.parts + 1) * 2 * np.pi
        self.age = np.clip(self.day[None, :] - self.start[:, None], 1, None) / 1000.0
        self.spell = self._spells() if "spells" in have else None
        self.visits = self._visit_days() if "visits" in have else []
        self.target = self._target_rate()

    def _season(self, number: int) -> np.ndarray:
        return 1 + 0.7 * np.sin(self.day * 2 * np.pi / 365 + self.phase[number])

    def _spells(self) -> np.ndarray:
        """45-day spells of hard work, about every 500 days, in which some parts fail 5 times."""
        spell = np.ones_like(self.usual)
        count = self.rng.poisson(self.days / 500, self.scene.units)
        for unit, number in enumerate(count):
            for begin in self.rng.integers(0, self.days, number):
                spell[unit, begin : begin + 45] = 5
        return spell

    def _visit_days(self) -> list[tuple[int, int]]:
        """Visits every 90 to 200 days, jittered by a week."""
        every = int(self.rng.integers(90, 200))
        found = []
        for unit, start in enumerate(self.start):
            planned = np.arange(start + self.rng.integers(0, every), self.days, every)
            jittered = planned + np.rint(self.rng.normal(0, 8, len(planned))).astype(int)
            found += [(unit, day) for day in np.clip(jittered, start, self.days - 1)]
        return found

    def of_part(self, part: str, number: int) -> np.ndarray:
        have, weight = self.scene.features, self.usual
        if "duty" in have and number % 2:
            weight = weight * self.hard
        if self.spell is not None and part in COMPANY:
            weight = weight * self.spell
        if "season" in have:
            weight = weight * self._season(number)[None, :]
        if "trend" in have and number % 2:
            weight = weight * 9 ** (self.day / self.days)[None, :] / 3
        if {"new fleet", "staggered"} & have:
            weight = weight * self.age
        return weight

    def _target_rate(self) -> np.ndarray:
        have, rate = self.scene.features, self.usual
        if "duty" in have:
            rate = rate * self.hard
        if self.spell is not None:
            rate = rate * self.spell
        if "season" in have:
            rate = rate * self._season(-1)[None, :]
        if "trend" in have:
            rate = rate * 9 ** (self.day / self.days)[None, :]
        if {"new fleet", "staggered"} & have:
            rate = rate * self.age**1.5
        for unit, day in self.visits:
            rate[unit, day : day + 45] *= 2
        return rate.astype(np.float64)

    def place(self, weight: np.ndarray, count: int) -> tuple[np.ndarray, np.ndarray]:
        """Units and days of `count` events, each in proportion to the weight."""
        ladder = np.cumsum(weight.ravel(), dtype=np.float64)
        spot = np.searchsorted(ladder, self.rng.random(count) * ladder[-1])
        return np.divmod(np.minimum(spot, weight.size - 1), self.days)

    def plant(self, precursor: Precursor, book: Recorder) -> None:
        lag, ratio, share = precursor.lag, precursor.ratio, precursor.share
        exposed = share / (ratio * (1 - share) + share)
        watched = float((self.usual > 0).sum())
        count = round(exposed * watched / (lag[1] - lag[0]))
        unit, day = self.place(self.usual, count)
        book.add(unit, day, PRECURSOR)
        factor = np.ones_like(self.target)
        for one, when in zip(unit, day, strict=True):
            factor[one, when + lag[0] : when + lag[1]] = ratio
        self.target = self.target * factor

    def fail(self) -> tuple[np.ndarray, np.ndarray]:
        return self.place(self.target, self.rng.poisson(self.scene.failures))

    def damage(self, unit: np.ndarray, day: np.ndarray, book: Recorder) -> None:
        """Each failure of the target brings down two other parts within 60 days, at times."""
        for part in DAMAGED:
            hit = self.rng.random(len(unit)) < 0.3
            when = day[hit] + 1 + self.rng.integers(0, 60, hit.sum())
            inside = when < self.days
            book.add(unit[hit][inside], when[inside], part)

    def visit(self, parts: list[str], rates: np.ndarray, book: Recorder) -> None:
        """Each visit finds some parts on the day, and books some more for the weeks after."""
        names, chance = np.array(parts, dtype=object), rates / rates.sum()
        for mean, low, high in ((2.0, 0, 1), (1.0, 5, 46)):
            count = self.rng.poisson(mean, len(self.visits))
            unit, day = (np.repeat([one[k] for one in self.visits], count) for k in (0, 1))
            when = day + self.rng.integers(low, high, len(day))
            inside = when < self.days
            found = self.rng.choice(names, len(when), p=chance)
            book.add(unit[inside], when[inside], found[inside])

    def inspect(self, parts: list[str], book: Recorder) -> None:
        """A yearly week in which many parts are looked at in a fixed order, at times the target."""
        for unit, start in enumerate(self.start):
            for begin in range(int(start + self.rng.integers(0, 365)), self.days - 7, 365):
                number = np.sort(
                    self.rng.choice(len(parts), self.rng.integers(4, 9), replace=False)
                )
                names = np.array(parts, dtype=object)[number]
                book.add(np.full(len(number), unit), begin + number * 7 // len(parts), names)
                if self.rng.random() < 0.03:
                    book.add(np.array([unit]), np.array([begin + 3]), TARGET)

    def repeat(self, book: Recorder) -> None:
        """A quarter of all repairs, the target's too, come back within 40 days."""
        unit, day = np.concatenate(book.unit), np.concatenate(book.day)
        part = np.concatenate(book.part)
        again = self.rng.random(len(unit)) < 0.25
        when = day + self.rng.integers(1, 40, len(unit))
        again &= when < self.days
        book.add(unit[again], when[again], part[again])


def until(
    repairs: pd.DataFrame, watch: pd.DataFrame, day: int
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """The records as they stood at the end of a day (counted from the first)."""
    last = BEGIN + np.timedelta64(day, "D")
    watch = watch[watch["watched_from"] <= last].assign(watched_to=last)
    return repairs[repairs["date"] <= last], watch
