"""Which curve fits best: Weibull, lognormal or exponential, by Akaike's criterion."""

from collections.abc import Callable
from dataclasses import dataclass

from rca.errors import NoFit
from rca.life.lognormal import LognormalFit, fit_lognormal
from rca.life.sample import Lives
from rca.life.weibull import WeibullFit, fit_weibull

# Differences below this say little (Burnham & Anderson 2002, from memory).
TELLING = 2.0


@dataclass(frozen=True, slots=True)
class Rival:
    """One curve, its AIC, and how far that lies above the smallest."""

    name: str
    fit: WeibullFit | LognormalFit
    aic: float
    behind: float


@dataclass(frozen=True, slots=True)
class Rivals:
    """The curves that could be fitted, best first, and why others could not be.

    All curves saw the same lives, entries included, so that their AIC can be compared.
    """

    curves: tuple[Rival, ...]
    refused: dict[str, str]

    @property
    def told_apart(self) -> bool:
        """True where the best curve leads the next by 2 or more."""
        return len(self.curves) > 1 and self.curves[1].behind >= TELLING

    def __str__(self) -> str:
        best, *others = self.curves
        behind = ", ".join(f"{rival.name} +{rival.behind:.1f}" for rival in others)
        words = "" if self.told_apart else "; below 2 the records cannot tell them apart"
        return f"AIC {best.aic:.1f} for {best.name}; {behind}{words}"


def compare_curves(lives: Lives) -> Rivals:
    """Fit Weibull, lognormal and exponential curves to the same lives and rank them by AIC.

    Raises
    ------
    NoFit
        Where none of the three can be fitted (no failure).
    """
    fits: dict[str, WeibullFit | LognormalFit] = {}
    refused: dict[str, str] = {}
    fitters: dict[str, Callable[[Lives], WeibullFit | LognormalFit]] = {
        "Weibull": fit_weibull,
        "lognormal": fit_lognormal,
        "exponential": lambda lives: fit_weibull(lives, shape=1.0),
    }
    if not (~lives.running).any():
        raise NoFit(
            f"none of the {lives.n_running:g} lives failed",
            next_step="give a known shape to fit_weibull for a lower limit",
        )
    for name, fitter in fitters.items():
        try:
            fits[name] = fitter(lives)
        except NoFit as refusal:
            refused[name] = refusal.message
    if not fits:
        raise NoFit(refused["exponential"], next_step="state closer or exact ages")
    order = sorted(fits, key=lambda name: fits[name].aic)
    least = fits[order[0]].aic
    curves = tuple(
        Rival(name, fits[name], fits[name].aic, fits[name].aic - least) for name in order
    )
    return Rivals(curves, refused)
