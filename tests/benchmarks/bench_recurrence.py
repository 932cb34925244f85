"""Speed and coverage of the recurrence, rate and survival statistics, seeded.

Run `python -m tests.benchmarks.bench_recurrence [words]` from the project's folder, the words being
speed, coverage, trend, shrinkage, survival, mixed; without any it does all (some 20 minutes of one
core). It prints the tables of the section "Recurrence" of the README beside it.
"""

import sys
import time
from collections.abc import Callable

import numpy as np
from statsmodels.duration.hazard_regression import PHReg

from rca.errors import NoAnswer, NoFit
from rca.life.histories import Histories
from rca.life.logrank import log_rank
from rca.life.mixed import bend, mixed_lots, mixed_modes
from rca.life.nonparametric import kaplan_meier
from rca.life.powerlaw import fit_power_law
from rca.life.rates import dispersion
from rca.life.recurrence import _Steps, mean_cumulative
from rca.life.regression import proportional_hazards
from rca.life.sample import Lives
from rca.life.shrinkage import shrink
from rca.life.trend import trend_tests

SEED = 20261101


def shortest(*calls: Callable[[], object], times: int = 25) -> list[float]:
    """Shortest processor time of each call in milliseconds, the calls taking turns."""
    best = [np.inf] * len(calls)
    for _ in range(times):
        for place, call in enumerate(calls):
            begin = time.process_time()
            call()
            best[place] = min(best[place], 1e3 * (time.process_time() - begin))
    return best


def row(*cells: object) -> None:
    """Print one row of a table."""
    print("| " + " | ".join(str(cell) for cell in cells) + " |", flush=True)


def header(*cells: str) -> None:
    """Print the head of a table."""
    print()
    row(*cells)
    row(*["---"] * len(cells))


def speed() -> None:
    """MCF with limits against the MCF alone, and the comparisons of lives against statsmodels."""
    rng = np.random.default_rng(SEED)
    n, events = 10_000, 100_000
    end, unit = rng.uniform(200, 1000, n), rng.integers(0, n, events)
    smooth = rng.uniform(0, end[unit])
    header("MCF of 10 000 units, 100 000 events", "alone, ms", "with limits, ms", "ratio")
    for name, age in (("ages to the second", smooth), ("whole days", np.floor(smooth))):
        histories = Histories.of(np.arange(n), np.zeros(n), end, event_unit=unit, event_age=age)

        def alone(histories: Histories = histories) -> object:
            return np.cumsum(_Steps.of(histories).rise)

        def limits(histories: Histories = histories) -> object:
            return mean_cumulative(histories)

        plain, full = shortest(alone, limits)
        row(name, f"{plain:.1f}", f"{full:.1f}", f"{full / plain:.2f}")
    header("lives with late entry", "this, ms", "statsmodels, ms", "ratio")
    for size in (3_000, 30_000):
        age = np.ceil(rng.exponential(100, size))
        entry, failed = np.floor(age * rng.uniform(0, 0.9, size)), rng.uniform(size=size) < 0.5
        x, lives = rng.normal(size=(size, 3)), Lives.right_censored(age, failed, entry=entry)
        columns = {f"x{place}": column for place, column in enumerate(x.T)}

        def ours(lives: Lives = lives, columns: dict = columns) -> object:
            return proportional_hazards(lives, columns)

        def peer(age: object = age, x: object = x, f: object = failed, e: object = entry) -> object:
            return PHReg(age, x, status=f, entry=e, ties="efron").fit()

        here, there = shortest(ours, peer, times=3)
        name = f"proportional hazards, 3 covariates, {size} lives"
        row(name, f"{here:.1f}", f"{there:.0f}", f"{there / here:.0f}")


def fleet(
    rng: np.random.Generator, n: int, rate: float, variance: float, *, late: bool
) -> Histories:
    """Poisson events at a constant rate times each unit's own gamma ratio of this variance."""
    start, end = np.zeros(n), np.full(n, 1.4)
    if late:
        start = np.where(rng.uniform(size=n) < 0.4, rng.uniform(0, 0.5, n), 0.0)
        end = rng.uniform(0.6, 1.4, n)
    ratio = rng.gamma(1 / variance, variance, n) if variance else np.ones(n)
    unit = np.repeat(np.arange(n), rng.poisson(rate * ratio * (end - start)))
    age = rng.uniform(start[unit], end[unit])
    return Histories.of(np.arange(n), start, end, event_unit=unit, event_age=age)


def coverage(runs: int = 4000) -> None:
    """Share of 95 % log limits of the MCF that hold the truth, and both misses."""
    header(
        "watched", "units", "variance", "events expected", "covers", "truth below", "truth above"
    )
    rng = np.random.default_rng(SEED)
    # Exposure of a unit up to age 1: all of it, or 0.80 on average with late entry and early ends.
    for late, exposure in ((False, 1.0), (True, 0.80)):
        for n in (10, 20, 40, 100, 300):
            for variance in (0.0, 0.5, 1.5):
                for expected in (4, 8, 16, 40):
                    rate = expected / (n * exposure)
                    misses, done = np.zeros(2), 0
                    for _ in range(runs):
                        try:
                            answer = mean_cumulative(fleet(rng, n, rate, variance, late=late)).at(1)
                        except NoAnswer:  # nobody watched as far as 1
                            continue
                        done += 1
                        misses += [rate < answer.lower, rate > answer.upper]
                    share = misses / done
                    row(
                        "late, staggered" if late else "all from new",
                        n,
                        variance,
                        expected,
                        f"{1 - share.sum():.3f}",
                        *(f"{one:.3f}" for one in share),
                    )


def trend(runs: int = 4000) -> None:
    """How often a trend is called where there is none, and where there is one."""
    header(
        "units differ (variance)",
        "bursts of",
        "shape",
        "Laplace p <= 0.05",
        "MIL-HDBK-189 p <= 0.05",
        "trend called",
        "in the right direction",
    )
    rng = np.random.default_rng(SEED)
    for variance, burst, shape in (
        (0.0, 1, 1.0),
        (1.0, 1, 1.0),
        (1.0, 3, 1.0),
        (1.0, 1, 1.5),
        (1.0, 1, 2.0),
        (1.0, 3, 2.0),
        (1.0, 1, 0.6),
    ):
        found = []
        for _ in range(runs):
            n = 60
            start, end = rng.uniform(0, 0.3, n), rng.uniform(0.5, 1.5, n)
            ratio = rng.gamma(1 / variance, variance, n) if variance else np.ones(n)
            unit = np.repeat(np.arange(n), rng.poisson(2 / burst * ratio * (end - start)))
            share = rng.uniform(size=len(unit)) ** (1 / shape)
            age = start[unit] + share * (end - start)[unit]
            more = rng.poisson(burst - 1, len(unit))
            near = np.repeat(age, more) + rng.uniform(-0.01, 0.01, more.sum())
            again = np.repeat(unit, more)
            near = np.clip(near, start[again], end[again])
            try:
                test = trend_tests(
                    Histories.of(
                        np.arange(n),
                        start,
                        end,
                        event_unit=np.append(unit, again),
                        event_age=np.append(age, near),
                    )
                )
            except NoFit:
                continue
            right = "rising" if shape > 1 else "falling"
            found.append(
                (
                    test.laplace_p <= 0.05,
                    test.chi_square_p <= 0.05,
                    test.direction() != "none shown",
                    test.direction() == right,
                )
            )
        shares = [f"{share:.3f}" for share in np.mean(found, axis=0)]
        row(variance, burst, shape, *shares[:3], shares[3] if shape != 1 else "-")
    header("power law, 40 units, late entry, shape 1.6", "quantity", "likelihood", "wald", "units")
    for variance in (0.0, 0.5):
        hits, done = np.zeros((2, 3)), 0
        for _ in range(runs // 4):
            fit = fit_power_law(power_law_fleet(rng, variance))
            done += 1
            for place, method in enumerate(("likelihood", "wald", "units")):
                for line, interval in enumerate(
                    (fit.interval(method=method), fit.rate_interval(1.0, method=method))
                ):
                    hits[line, place] += interval.lower <= 1.6 <= interval.upper
        for name, line in zip(("shape", "rate at age 1"), hits / done, strict=True):
            row(f"variance {variance}", name, *(f"{share:.3f}" for share in line))


def power_law_fleet(rng: np.random.Generator, variance: float) -> Histories:
    """40 units, half of them watched late, expected events age^1.6 times a gamma ratio."""
    n, shape = 40, 1.6
    start, end = rng.uniform(0, 0.5, n), rng.uniform(0.6, 1.5, n)
    start[:20] = 0
    ratio = rng.gamma(1 / variance, variance, n) if variance else np.ones(n)
    unit = np.repeat(np.arange(n), rng.poisson(ratio * (end**shape - start**shape)))
    low, high = start[unit] ** shape, end[unit] ** shape
    age = (low + rng.uniform(size=len(unit)) * (high - low)) ** (1 / shape)
    return Histories.of(np.arange(n), start, end, event_unit=unit, event_age=age)


def shrinkage(runs: int = 600) -> None:
    """Coverage of shrunk ratios, of the worst tenth's next count, and errors of the dispersion."""
    header(
        "units",
        "events expected a unit",
        "variance",
        "ratios covered",
        "worst tenth: had",
        "foretold",
        "then had",
        "count covered",
        "dispersion p <= 0.05",
    )
    rng = np.random.default_rng(SEED)
    for variance in (0.0, 0.3, 1.0):
        for n in (10, 50, 200, 1000):
            for mean in (0.3, 1.0, 3.0):
                found = []
                for _ in range(max(runs * 50 // (n + 40), 100)):
                    expected = rng.uniform(0.5, 1.5, n) * mean
                    true = rng.gamma(1 / variance, variance, n) if variance else np.ones(n)
                    observed = rng.poisson(true * expected)
                    if observed.sum() < 2:
                        continue
                    shrunk = shrink(observed, expected)
                    worst = shrunk.worst()
                    following = rng.poisson((true * expected)[worst.units]).sum()
                    found.append(
                        (
                            ((shrunk.lower <= true) & (true <= shrunk.upper)).mean(),
                            worst.observed,
                            worst.expected_next,
                            following,
                            worst.lower <= following <= worst.upper,
                            dispersion(observed, expected).p_value <= 0.05,
                        )
                    )
                means = np.mean(found, axis=0)
                row(
                    n,
                    mean,
                    variance,
                    f"{means[0]:.3f}",
                    *(f"{value:.1f}" for value in means[1:4]),
                    *(f"{value:.3f}" for value in means[4:]),
                )


def survival(runs: int = 4000) -> None:
    """Coverage of Kaplan-Meier's log(-log) limits, and errors of comparisons of lives."""
    header("lives", "true survival", "covers", "truth below", "truth above")
    rng = np.random.default_rng(SEED)
    for n in (15, 30, 100, 300):
        for age in (0.3, 0.6, 0.9):
            true, misses, done = np.exp(-(age**1.5)), np.zeros(2), 0
            for _ in range(runs):
                life, end = rng.weibull(1.5, n), rng.uniform(0.5, 2, n)
                entry = np.where(rng.uniform(size=n) < 0.3, rng.uniform(0, 0.4, n), 0.0)
                last = np.minimum(life, end)
                seen = last > entry
                lives = Lives.right_censored(last[seen], (life <= end)[seen], entry=entry[seen])
                try:
                    answer = kaplan_meier(lives).at(age)
                except NoAnswer:
                    continue
                done += 1
                misses += [true < answer.lower, true > answer.upper]
            share = misses / done
            row(n, f"{true:.3f}", f"{1 - share.sum():.3f}", *(f"{one:.3f}" for one in share))
    header("no difference between groups, 60 units of unlike rates", "p <= 0.05")
    p_values = []
    for _ in range(runs // 4):
        unit = np.repeat(np.arange(60), 5)
        ratio, duty = rng.gamma(2, 0.5, 60)[unit], rng.integers(0, 2, 60)[unit]
        life, end = rng.exponential(1 / ratio), rng.uniform(0.5, 2, 300)
        lives = Lives.right_censored(np.minimum(life, end), life <= end)
        side = rng.integers(0, 2, 300)
        fits = [
            proportional_hazards(lives, {"duty": duty}, cluster=cluster).ratio("duty").p_value
            for cluster in (None, unit)
        ]
        p_values.append(
            (
                *fits,
                log_rank(lives, duty).p_value,
                log_rank(lives, side, strata=unit).p_value,
            )
        )
    names = (
        "proportional hazards, errors from the curvature, group of units",
        "proportional hazards, errors by unit, group of units",
        "log-rank, group of units (takes lives as independent)",
        "log-rank within units, group of lives",
    )
    for name, share in zip(names, np.mean(np.array(p_values) <= 0.05, axis=0), strict=True):
        row(name, f"{share:.3f}")


def mixed(runs: int = 1000) -> None:
    """How often a mixed fit is called: where there is none, and where there is."""
    header(
        "lives",
        "failures",
        "bend, one curve (shape 0.7 / 3)",
        "like lots",
        "like modes",
        "bend, two lots",
        "two lots by label",
        "bend, two modes",
        "two modes by label",
    )
    rng = np.random.default_rng(SEED)
    for n in (15, 30, 60, 120, 500):
        called: dict[str, list[bool]] = {}
        failures = 0.0
        for _ in range(runs):
            label = np.arange(n) % 2
            for shape in (0.7, 3.0):
                lives, _ = seen(rng, rng.weibull(shape, n))
                note(called, f"bend {shape}", lambda lives=lives: bend(lives).p_value)
            life = rng.weibull(1.5, n)
            lives, kept = seen(rng, life)
            failures += lives.n_failed / runs
            note(called, "lots", lambda a=lives, b=label[kept]: mixed_lots(a, b).p_value)
            other = 1.3 * rng.weibull(1.5, n)
            lives, kept = seen(rng, np.minimum(life, other))
            first = (life < other)[kept]
            note(called, "modes", lambda a=lives, b=first: mixed_modes(a, b).p_value)
            early, wear = 60 * rng.weibull(0.7, n), 120 * rng.weibull(4, n)
            lives, kept = seen(rng, np.where(label == 0, early, wear))
            note(called, "bend lots", lambda lives=lives: bend(lives).p_value)
            note(called, "two lots", lambda a=lives, b=label[kept]: mixed_lots(a, b).p_value)
            lives, kept = seen(rng, np.minimum(3 * early, wear))
            first = (3 * early < wear)[kept]
            note(called, "bend modes", lambda lives=lives: bend(lives).p_value)
            note(called, "two modes", lambda a=lives, b=first: mixed_modes(a, b).p_value)
        share = {name: f"{np.mean(answers):.3f}" for name, answers in called.items()}
        row(
            n,
            f"{failures:.0f}",
            f"{share['bend 0.7']} / {share['bend 3.0']}",
            share["lots"],
            share["modes"],
            share["bend lots"],
            share["two lots"],
            share["bend modes"],
            share["two modes"],
        )


def seen(rng: np.random.Generator, life: np.ndarray) -> tuple[Lives, np.ndarray]:
    """Lives with late entry for a third of them and staggered ends, and which were seen."""
    n, typical = len(life), np.median(life)
    end = typical * rng.uniform(0.3, 2.5, n)
    entry = np.where(rng.uniform(size=n) < 0.3, typical * rng.uniform(0, 0.7, n), 0.0)
    last = np.minimum(life, end)
    kept = last > entry
    return Lives.right_censored(last[kept], (life <= end)[kept], entry=entry[kept]), kept


def note(called: dict[str, list[bool]], name: str, p_value: Callable[[], float]) -> None:
    """Add whether the test called a difference, where it could be made."""
    try:
        called.setdefault(name, []).append(p_value() <= 0.05)
    except NoFit:
        return


if __name__ == "__main__":
    tables = {
        "speed": speed,
        "coverage": coverage,
        "trend": trend,
        "shrinkage": shrinkage,
        "survival": survival,
        "mixed": mixed,
    }
    for name in sys.argv[1:] or tables:
        tables[name]()
