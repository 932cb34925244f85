"""The lives of one part as the pattern models see them: arrays, one row a piece of a life."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from rca.life.sample import Lives
from rca.records.meters import day_number

Array = NDArray[np.float64]
Ints = NDArray[np.int64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True, slots=True, eq=False)
class Grouping:
    """To which group each piece belongs (-1 = unknown), and the groups' names."""

    code: Ints
    names: tuple[str, ...]

    @classmethod
    def of(cls, values: pd.Series) -> "Grouping":
        """Group pieces by text; blank is unknown."""
        text = values.astype(object).where(values.notna(), "").astype(str).str.strip()
        code, names = pd.factorize(text.where(text != "", None), sort=True)
        return cls(code.astype(np.int64), tuple(str(one) for one in names))

    def only(self, chosen: Flags, mark: str) -> "Grouping":
        """The same groups, of some of the pieces only; the others count as unknown."""
        return Grouping(
            np.where(chosen, self.code, -1), tuple(f"{one}{mark}" for one in self.names)
        )

    @property
    def usable(self) -> bool:
        """Whether there are two groups or more to compare."""
        return len(self.names) >= 2


@dataclass(frozen=True, slots=True, eq=False)
class PartLives:
    """Pieces of lives of one part on one age scale; ages are divided by their mean.

    entry, age
        Age when watching began, and at its end.
    failed, later
        Whether the piece failed; whether another fitting or a mended failure came before it at
        the same place.
    begin, end
        Days since 1970-01-01.
    """

    entry: Array
    age: Array
    failed: Flags
    later: Flags
    unit: Grouping
    lot: Grouping
    depot: Grouping
    begin: Ints
    end: Ints
    mean_age: float

    @classmethod
    def of(
        cls, pieces: pd.DataFrame, *, scale: str, units: pd.DataFrame | None, depot: str
    ) -> "PartLives":
        """Take the pieces whose ages on the scale are known; `depot` names a column of `units`."""
        age = pieces[f"age_{scale}"].to_numpy(float)
        entry = pieces[f"entry_{scale}"].to_numpy(float)
        known = np.isfinite(age) & np.isfinite(entry) & (age > entry)
        pieces, age, entry = pieces[known], age[known], entry[known]
        unit = pieces["unit"].astype(str)
        place = pd.Series("", index=pieces.index)
        if units is not None and depot in units:
            of_unit = units.drop_duplicates("unit").set_index("unit")[depot]
            of_unit.index = of_unit.index.astype(str)
            place = unit.map(of_unit.astype(object).where(of_unit.notna(), ""))
        mean = float(age.mean()) if len(age) else 1.0
        later = (pieces["fitting"].to_numpy() > 0) | (pieces["piece"].to_numpy() > 0)
        return cls(
            entry / mean,
            age / mean,
            pieces["failed"].to_numpy(bool),
            later,
            Grouping.of(unit),
            Grouping.of(pieces["lot"]),
            Grouping.of(place),
            day_number(pieces["begin"]),
            day_number(pieces["end"]),
            mean,
        )

    @property
    def failures(self) -> int:
        """Number of failures."""
        return int(self.failed.sum())

    def sample(self) -> Lives:
        """The same lives for a life fit, ages divided by their mean."""
        return Lives.right_censored(self.age, self.failed, entry=self.entry)

    def hazard(self, shape: float) -> Array:
        """age^shape - entry^shape of each piece: what it ran of a Weibull hazard."""
        run: Array = self.age**shape - np.where(self.entry > 0, self.entry, 0.0) ** shape
        return run

    def __len__(self) -> int:
        return len(self.age)


def day_text(day: int) -> str:
    """A day number as a date, YYYY-MM-DD."""
    return str(np.datetime64(day, "D"))
