"""Speed of Weibull fits as ratios within one run: python -m tests.benchmarks.bench_weibull.

The unit is one pass: the log and the exp of as many numbers as there are lives. Times are
processor times of this thread, the best of runs that take turns, so that other work on the machine
touches both sides alike. Run it with OPENBLAS_NUM_THREADS=1, so that no work hides in others.
"""

import time
import warnings
from collections.abc import Callable
from functools import partial

import numpy as np
from lifelines import WeibullFitter
from scipy import stats

from rca.life.batch import fit_weibull_groups
from rca.life.bootstrap import bootstrap_weibull, draw_counts
from rca.life.sample import Lives
from rca.life.weibull import fit_weibull


def best(*works: Callable[[], object], times: int) -> list[float]:
    """Shortest processor time of each work, in seconds, over runs in turn."""
    found = np.empty((times, len(works)))
    for turn in found:
        for place, work in enumerate(works):
            start = time.thread_time()
            work()
            turn[place] = time.thread_time() - start
    return found.min(axis=0).tolist()


def staggered(rng: np.random.Generator, n: int, shape: np.ndarray | float) -> Lives:
    """Lives on real ages with about 70 % suspended."""
    life, end = 1000 * rng.weibull(shape, n), rng.uniform(0, 1050, n)
    return Lives.right_censored(np.minimum(life, end), life <= end)


def one_pass(lives: Lives) -> Callable[[], object]:
    """The unit: one log and one exp of each age."""
    scaled = lives.low / -1000.0
    return lambda: (np.log(lives.low), np.exp(scaled))


def by_scipy(lives: Lives) -> object:
    """The peer's usual call."""
    data = stats.CensoredData(uncensored=lives.low[lives.exact], right=lives.low[lives.running])
    return stats.weibull_min.fit(data, floc=0)


def by_lifelines(lives: Lives) -> object:
    """The peer's usual call."""
    return WeibullFitter().fit(lives.low, lives.exact)


PEERS = {"scipy": by_scipy, "lifelines": by_lifelines}


def one_fit(n: int, *, times: int, peer_times: int) -> None:
    """One fit of n lives."""
    lives = staggered(np.random.default_rng(1), n, 1.7)
    fit = fit_weibull(lives)
    ours, unit = best(lambda: fit_weibull(lives), one_pass(lives), times=times)
    (limits,) = best(lambda: fit.interval("shape"), times=max(3, times // 20))
    print(f"one fit, {n} lives: {1e3 * ours:.3g} ms = {ours / unit:.1f} passes")
    for name, peer in PEERS.items():
        (theirs,) = best(partial(peer, lives), times=peer_times)
        print(f"  {theirs / ours:.0f} x faster than {name}")
    print(f"  the likelihood-ratio interval of its shape takes {limits / ours:.1f} fits")


def many_fits() -> None:
    """20 000 groups of 50 lives in one call."""
    rng = np.random.default_rng(2)
    shape = np.repeat(rng.uniform(0.6, 4.0, 20_000), 50)
    lives, group = staggered(rng, 1_000_000, shape), np.repeat(np.arange(20_000), 50)
    ours, unit = best(lambda: fit_weibull_groups(lives, group), one_pass(lives), times=15)
    print(f"20 000 groups of 50 lives: {1e3 * ours:.3g} ms = {ours / unit:.1f} passes")
    columns = (lives.low, lives.high, lives.entry, lives.count)
    few = [Lives(*(c[start : start + 50] for c in columns)) for start in range(0, 2000, 50)]
    for name, peer in PEERS.items():
        (theirs,) = best(partial(lambda peer: [peer(one) for one in few], peer), times=2)
        print(f"  {theirs * 20_000 / len(few) / ours:.0f} x faster than a loop of {name}")


def resampling() -> None:
    """2 000 bootstrap fits of 500 units with one life each."""
    lives, unit = staggered(np.random.default_rng(3), 500, 1.7), np.arange(500)
    ours, counts = best(
        lambda: bootstrap_weibull(lives, unit, draws=2000),
        lambda: draw_counts(500, 2000, np.random.default_rng(4)),
        times=30,
    )
    print(f"2000 bootstrap fits, n = 500: {1e3 * ours:.3g} ms = {ours / counts:.2f} x the counts")


def main() -> None:
    """Print all ratios."""
    warnings.simplefilter("ignore")
    one_fit(10_000, times=300, peer_times=5)
    one_fit(1_000_000, times=30, peer_times=2)
    many_fits()
    resampling()


if __name__ == "__main__":
    main()
