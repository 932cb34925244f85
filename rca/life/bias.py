"""How far a fitted shape overshoots on average when failures are few."""

from typing import Literal

from rca.errors import NoAnswer

Ends = Literal["staggered", "common age", "at a failure", "all failed"]


def shape_bias(n_failed: float, *, ends: Ends = "staggered") -> float:
    """Mean of the fitted shape over the true shape at `n_failed` failures, about.

    It depends on how watching ends:

    - "staggered" (a fleet whose lives are of all ages): 1 + 0.6 / (r - 1.2), simulated here
    - "common age" (all are watched to one age that few reach failed): r / (r - 1)
    - "at a failure" (a test of many that stops at failure r): r / (r - 2)
    - "all failed": 1 + 1.37 / (r - 1.92) (Ross 1994, from memory, reproduced by simulation)

    The middle two are exact where few of many lives fail: then r / shape is a sum of r (or r - 1)
    exponential terms. Fitted shapes of many parts, each from few failures, are therefore too high
    as a whole; the likelihood-ratio interval of one part allows for most of it.

    Raises
    ------
    NoAnswer
        With so few failures that the mean has no finite value.
    """
    pole = {"staggered": 1.2, "common age": 1.0, "at a failure": 2.0, "all failed": 1.92}[ends]
    if n_failed <= pole + 0.5:
        raise NoAnswer(
            f"with {n_failed:g} failures the fitted shape has no mean to speak of",
            next_step="give a known shape, or read only the interval",
        )
    rise = {"staggered": 0.6, "common age": 1.0, "at a failure": 2.0, "all failed": 1.37}[ends]
    return 1.0 + rise / (n_failed - pole)
