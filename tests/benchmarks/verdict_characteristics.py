"""Operating characteristics of the verdict on invented fleets whose true ratio is known.

Run `python -m tests.benchmarks.verdict_characteristics [fleets]` from the project's folder; it
prints the tables of the section "Verdict" of the README beside it (seeded; some 5 minutes of one
core at the default 800 fleets a row).
"""

import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from scipy.stats import beta

from rca.causes.fix.baseline import fit_baseline
from rca.causes.fix.replay import Calendar, follow_rule, replay
from rca.causes.fix.sequential import relapse_plan, relapse_scores
from rca.causes.fix.verdict import FEWEST_FAILURES, still_needed
from rca.causes.fix.words import Effect
from rca.errors import NoFit
from tests.benchmarks.verdict_fleets import AFTER, MONTH, Cell, simulate

LOOKS = np.arange(1, AFTER + 1) * MONTH
RATIOS = (1.0, 0.7, 0.5, 0.3, 0.15, 0.0)


@dataclass(frozen=True)
class Outcome:
    """What the rule said of one fleet, and whether the interval covered the truth."""

    cell: Cell
    words: tuple[Effect, ...] = ()
    shown_at: int | None = None
    covers: tuple[bool, bool] = (True, True)  # looks 12 and 24
    observed: float = 0.0
    expected: float = 0.0
    ratio_when_shown: float = np.nan

    @property
    def judged(self) -> bool:
        return bool(self.words)

    def shown_by(self, look: int) -> bool:
        return self.shown_at is not None and self.shown_at < look


def one_fleet(cell: Cell, rng: np.random.Generator, calendar: Calendar | None = None) -> Outcome:
    """Simulate a fleet and follow the rule over 24 monthly looks."""
    pieces, fix_day = simulate(cell, rng)
    past = pieces.until(0.0)
    if past.failed.sum() < FEWEST_FAILURES:
        return Outcome(cell)
    try:
        baseline = fit_baseline(past)
    except NoFit:
        return Outcome(cell)
    whole = replay(
        baseline,
        pieces,
        fix_day=fix_day,
        looks=LOOKS,
        own_level=cell.applied == "cause",
        calendar=calendar,
    )
    course = follow_rule(whole, target=0.5)
    lower, upper = whole.limits()
    at = course.shown_at
    return Outcome(
        cell=cell,
        words=course.words,
        shown_at=at,
        covers=tuple(bool(lower[k] <= cell.ratio <= upper[k]) for k in (11, 23)),
        observed=float(whole.observed[-1]),
        expected=float(whole.expected[-1]),
        ratio_when_shown=np.nan if at is None else float(whole.observed[at] / whole.expected[at]),
    )


def random_cell(rng: np.random.Generator, ratio: float) -> Cell:
    """A cell of the whole design, all its factors drawn at random."""
    return Cell(
        units=int(rng.choice([60, 300])),
        shape=float(rng.choice([0.8, 1.0, 2.5])),
        spread=float(rng.choice([0.0, 0.5, 1.5])),
        failures=int(rng.choice([10, 30, 100])),
        applied=str(rng.choice(["all", "half", "worst"])),
        renewed=bool(rng.random() < 0.5),
        ratio=ratio,
    )


NAMED = {
    "worst quarter picked, wear-out": Cell(units=60, shape=2.5, spread=1.5, applied="worst"),
    "parts renewed at the fix, wear-out": Cell(units=300, shape=2.5, failures=100, renewed=True),
    "wear-out, not renewed, all fixed, 100 failures": Cell(units=300, shape=2.5, failures=100),
    "the same, strong spread": Cell(units=300, shape=2.5, failures=100, spread=1.5),
    "10 failures before, all fixed": Cell(units=60, failures=10),
    "10 failures before, renewed, wear-out": Cell(units=60, shape=2.5, failures=10, renewed=True),
    "strong spread, all fixed": Cell(units=60, spread=1.5),
    "half untreated": Cell(units=60, applied="half"),
    "half untreated, strong spread, wear-out": Cell(
        units=60, shape=2.5, spread=1.5, applied="half"
    ),
    "early failures, renewed": Cell(units=300, shape=0.8, failures=100, renewed=True),
    "cause found on a third, three times as bad": Cell(
        units=300, failures=100, applied="cause", bad_units=3.0
    ),
    "cause found, no worse than the rest": Cell(units=60, applied="cause"),
}


def share(flags: list[bool]) -> float:
    return 100.0 * float(np.mean(flags)) if flags else np.nan


def power_table(fleets: int, rng: np.random.Generator) -> Iterator[str]:
    """Verdicts by true ratio over random cells."""
    yield (
        "| true ratio | shown by look 12 / 24, all | B10 | B30 | B100 | not effective at 24 | "
        "improved at 24 | covered at 12 / 24 | cannot judge |"
    )
    yield "|---|---|---|---|---|---|---|---|---|"
    for ratio in RATIOS:
        runs = [one_fleet(random_cell(rng, ratio), rng) for _ in range(fleets)]
        judged = [run for run in runs if run.judged]

        def by(size: int | None, runs: list[Outcome] = runs) -> str:
            some = [run for run in runs if size is None or run.cell.failures == size]
            pair = [share([run.shown_by(look) for run in some]) for look in (12, 24)]
            return f"{pair[0]:.1f} / {pair[1]:.1f}"

        last = [run.words[-1] for run in judged]
        cells = [f"{ratio:g}", by(None), by(10), by(30), by(100)]
        for word in (Effect.NOT_EFFECTIVE, Effect.BELOW_TARGET):
            cells.append(f"{share([one == word for one in last]):.1f}")
        cover = [share([run.covers[k] for run in judged]) for k in (0, 1)]
        cells.append(f"{cover[0]:.1f} / {cover[1]:.1f}")
        cells.append(f"{share([not run.judged for run in runs]):.1f}")
        yield "| " + " | ".join(cells) + " |"


def named_table(fleets: int, rng: np.random.Generator) -> Iterator[str]:
    """False and true 'effect shown' in named cells, with the bias of the expectation."""
    yield (
        "| cell | shown within 24 looks at ratio 1 (95 % limits) | covered at 12 / 24 | "
        "sum O / sum E at 24 | shown by 24 at .3 | at .15 | sum O / sum E at .15 |"
    )
    yield "|---|---|---|---|---|---|---|"
    for name, cell in NAMED.items():
        runs = {
            ratio: [one_fleet(replace(cell, ratio=ratio), rng) for _ in range(count)]
            for ratio, count in ((1.0, fleets), (0.3, fleets // 4), (0.15, fleets // 4))
        }
        false = sum(run.shown_by(24) for run in runs[1.0])
        lower, upper = binomial_limits(false, len(runs[1.0]))
        judged = [run for run in runs[1.0] if run.judged]
        cover = [share([run.covers[k] for run in judged]) for k in (0, 1)]
        bias = {
            ratio: sum(run.observed for run in some) / sum(run.expected for run in some)
            for ratio, some in runs.items()
        }
        yield (
            f"| {name} | {100 * false / len(runs[1.0]):.1f} ({100 * lower:.1f}-{100 * upper:.1f}) "
            f"| {cover[0]:.1f} / {cover[1]:.1f} | {bias[1.0]:.2f} | "
            f"{share([run.shown_by(24) for run in runs[0.3]]):.0f} | "
            f"{share([run.shown_by(24) for run in runs[0.15]]):.0f} | {bias[0.15]:.2f} |"
        )


def binomial_limits(count: int, total: int) -> tuple[float, float]:
    """Clopper-Pearson 95 % limits."""
    lower = beta.ppf(0.025, count, total - count + 1) if count else 0.0
    return float(lower), float(beta.ppf(0.975, count + 1, total - count))


def use_table(fleets: int, rng: np.random.Generator) -> Iterator[str]:
    """What a fall in use after the fix does at ratio 1 (ages in days, so that it is not seen)."""
    yield "| use after the fix | no group | reserve 1/25 | half untreated | half untreated, k0 10 |"
    yield "|---|---|---|---|---|"
    for use in (0.8, 0.6):
        cells = []
        for applied, calendar in (
            ("all", Calendar()),
            ("all", Calendar(reserve=1 / 25)),
            ("half", Calendar()),
            ("half", Calendar(month_worth=10.0)),
        ):
            runs = [
                one_fleet(
                    replace(random_cell(rng, 1.0), applied=applied, use_after=use), rng, calendar
                )
                for _ in range(fleets // 2)
            ]
            cells.append(f"{share([run.shown_by(24) for run in runs]):.1f}")
        yield f"| {use - 1:+.0%} | " + " | ".join(cells) + " |"


def month_table(fleets: int, rng: np.random.Generator) -> Iterator[str]:
    """What was said at look 6 of the month of the verdict, and what came."""
    yield (
        "| true ratio | undecided at look 6 | likely month told | of these within 3 months | "
        "shown by 24 | earliest month held | told 'not by 24' but shown |"
    )
    yield "|---|---|---|---|---|---|---|"
    for ratio in (0.3, 0.15):
        told = [said for _ in range(fleets) if (said := one_promise(random_cell(rng, ratio), rng))]
        likely = [(said, came) for _, said, came in told if said is not None]
        near = [came is not None and abs(came - said) <= 3 for said, came in likely]
        held = [first is not None and came >= first for first, _, came in told if came is not None]
        silent = [came is not None for _, said, came in told if said is None]
        yield (
            f"| {ratio:g} | {100 * len(told) / fleets:.0f} | {100 * len(likely) / len(told):.0f} | "
            f"{share(near):.0f} | {share([came is not None for _, came in likely]):.0f} | "
            f"{share(held):.1f} | {share(silent):.0f} |"
        )


def one_promise(
    cell: Cell, rng: np.random.Generator, look: int = 6
) -> tuple[int | None, int | None, int | None] | None:
    """Earliest and likely look told at `look`, and the look that came; None where decided."""
    pieces, fix_day = simulate(cell, rng)
    past = pieces.until(0.0)
    if past.failed.sum() < FEWEST_FAILURES:
        return None
    baseline = fit_baseline(past)
    now = look - 1
    ahead = replay(
        baseline,
        pieces.until(LOOKS[now]).carried_on(LOOKS[-1]),
        fix_day=fix_day,
        looks=LOOKS,
        known=look,
    )
    course = follow_rule(ahead.part(slice(look)), target=0.5)
    if course.decided:
        return None
    _, earliest, likely = still_needed(ahead, course, now, target=0.5)
    came = follow_rule(replay(baseline, pieces, fix_day=fix_day, looks=LOOKS), target=0.5).shown_at
    return (
        None if earliest is None else look + earliest,
        None if likely is None else look + likely,
        came,
    )


def relapse_table(rng: np.random.Generator, histories: int = 4000) -> Iterator[str]:
    """Relapse watch: false alarms in a year, months to the signal after a return to ratio 1."""
    yield "| E a month | ratio left | false alarms in a year | months to signal: mean (90 %) |"
    yield "|---|---|---|---|"
    for expected in (0.25, 0.5, 1.0, 2.0, 4.0):
        for left in (0.15, 0.3, 0.5):
            ratio, limit = relapse_plan(left)
            steps = np.full((histories, 240), expected)
            calm = relapse_scores(rng.poisson(left * steps[:, :12]), steps[:, :12], ratio=ratio)
            back = relapse_scores(rng.poisson(steps), steps, ratio=ratio)
            when = np.argmax(back >= limit, axis=1) + 1
            false = float(np.mean((calm >= limit).any(axis=1)))
            yield (
                f"| {expected:g} | {left:g} | {false:.3f} | "
                f"{when.mean():.1f} ({np.quantile(when, 0.9):.0f}) |"
            )


def main(fleets: int = 800) -> None:
    rng = np.random.default_rng(20260101)
    begun = time.process_time()
    for title, table in (
        ("Random cells", power_table(fleets, rng)),
        ("Named cells", named_table(fleets, rng)),
        ("Use falls after the fix", use_table(fleets, np.random.default_rng(5))),
        ("The month told at look 6", month_table(fleets // 2, np.random.default_rng(6))),
        ("Relapse watch", relapse_table(np.random.default_rng(7))),
    ):
        print(f"\n**{title}**\n", flush=True)
        for line in table:
            print(line, flush=True)
    print(f"\n{time.process_time() - begun:.0f} s of processor time, {fleets} fleets a row")


if __name__ == "__main__":
    main(*(int(text) for text in sys.argv[1:2]))
