"""How often one kind of event comes before another on the same unit: all pairs by one sort.

Unit and day are packed into one number, so that a single sort puts every unit's events in order
and two events lie in the same window exactly where their numbers are that close. Each event is
then compared with the next, the one after that, and so on, while they share a window. The count
of "c before t" is by symmetry the count of "t after c", so one pass gives both directions.
"""

import numpy as np
from numpy.typing import ArrayLike, NDArray

from rca.errors import RcaError

Ints = NDArray[np.int64]

_BLOCK = 1 << 16  # rows compared at a time: small enough to stay in the processor's cache
_FAR = np.iinfo(np.int64).max


def count_before(
    unit: ArrayLike, day: ArrayLike, code: ArrayLike, *, window: int, n_codes: int
) -> Ints:
    """Count, for every pair of kinds, how often one came up to `window` days before the other.

    Parameters
    ----------
    unit, day, code
        One row an event: unit number (0 or more), day number, kind of event (0 to n_codes - 1).
    window
        Longest lag in days. Events of one day are neither before nor after.

    Returns
    -------
    Shape (n_codes, n_codes): row = the later kind (target), column = the earlier (candidate).
    The transpose counts the same pairs as "after".

    Raises
    ------
    RcaError
        Arrays of unlike length, a window below 1, or codes out of range.
    """
    moment, kind = _in_order(unit, day, code, window, n_codes)
    counts = np.zeros(n_codes * n_codes, dtype=np.int64)
    size = len(moment)
    for begin in range(0, size, _BLOCK):
        early = np.arange(begin, min(begin + _BLOCK, size))
        for step in range(1, size):
            late = early + step
            if late[-1] >= size:
                early = early[: np.searchsorted(late, size)]
                late = late[: len(early)]
            lag = moment[late] - moment[early]
            near = lag <= window
            if not near.any():
                break
            counted = near & (lag > 0)
            pair = kind[late[counted]] * n_codes + kind[early[counted]]
            counts += np.bincount(pair, minlength=n_codes * n_codes)
            early = early[near]
    return counts.reshape(n_codes, n_codes)


def count_own_lags(
    unit: ArrayLike, day: ArrayLike, code: ArrayLike, *, window: int, n_codes: int
) -> Ints:
    """Count, for every kind, the pairs of its own events on one unit by their lag in days.

    Returns
    -------
    Shape (n_codes, window + 1): number of pairs of events of that kind that lie 0, 1, ... days
    apart.
    """
    # a unit and a kind together are one sequence: each kind is followed apart from all others
    sequence = np.asarray(unit, dtype=np.int64) * n_codes + np.asarray(code, dtype=np.int64)
    moment, _ = _in_order(sequence, day, np.zeros_like(sequence), window, 1)
    kind = np.sort(sequence) % n_codes
    width = window + 1
    counts = np.zeros(n_codes * width, dtype=np.int64)
    early = np.arange(len(moment))
    for step in range(1, len(moment)):
        early = early[early + step < len(moment)]
        lag = moment[early + step] - moment[early]
        near = lag <= window
        early, lag = early[near], lag[near]
        if not len(early):
            break
        counts += np.bincount(kind[early] * width + lag, minlength=n_codes * width)
    return counts.reshape(n_codes, width)


def _in_order(
    unit: ArrayLike, day: ArrayLike, code: ArrayLike, window: int, n_codes: int
) -> tuple[Ints, Ints]:
    """Sort events by unit and day; moments of different units lie more than a window apart."""
    units, days, codes = (np.asarray(one, dtype=np.int64) for one in (unit, day, code))
    if not len(units) == len(days) == len(codes):
        raise RcaError(f"unit, day and code have {len(units)}, {len(days)}, {len(codes)} rows")
    if window < 1:
        raise RcaError(f"the window must be 1 day or more, is {window}")
    if not len(units):
        return units, codes
    if codes.min() < 0 or codes.max() >= n_codes:
        raise RcaError(f"codes must lie between 0 and {n_codes - 1}")
    first = days.min()
    span = int(days.max() - first) + window + 1
    if int(units.max() + 1) * span * n_codes >= _FAR:
        raise RcaError("too many units, days and kinds of events to be packed into one number")
    packed = ((units * span) + (days - first)) * n_codes + codes
    packed.sort()
    return packed // n_codes, packed % n_codes
