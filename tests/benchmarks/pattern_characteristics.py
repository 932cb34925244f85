"""Operating characteristics of the pattern reading on invented lives whose truth is known.

Run `python -m tests.benchmarks.pattern_characteristics [part ...] [--fleets N] [--seed N]` from
the project's folder; it prints the tables of the section "Pattern reading" of the README beside it.
Parts: confusion, weaker, others, ratios, later, speed. Seeded; the default takes some 10 minutes
of one core.
"""

import argparse
import time
import zlib
from collections.abc import Iterator

import numpy as np

from rca.causes.pattern.reading import Pattern, Reading, read_pattern
from tests.benchmarks.pattern_fleets import TRUTHS, Case, make_lives

SIZES = (20, 50, 150)
SEED = [20260102]  # of all fleets; --seed takes another
SHAPE_WORDS = (Reading.EARLY, Reading.RANDOM, Reading.WEAR_OUT)


def read(case: Case, number: int, *, spread: float = 0.1) -> Pattern:
    name = f"{case}"
    rng = np.random.default_rng([*SEED, zlib.crc32(name.encode()), number])
    lives, units = make_lives(case, rng)
    return read_pattern(lives, scale="days", units=units, spread_of_other_parts=spread)


def split(readings: list[Reading], right: str) -> tuple[float, float, float, float]:
    """Shares: right, wrong place or time, wrong shape word, not enough to say (in %)."""
    n = len(readings) / 100
    hit = sum(one == right for one in readings)
    silent = sum(one is Reading.OPEN for one in readings)
    shape = sum(one in SHAPE_WORDS and one != right for one in readings)
    return hit / n, (len(readings) - hit - silent - shape) / n, shape / n, silent / n


def confusion_table(fleets: int) -> Iterator[str]:
    yield "Cells: right / wrong place or time / (other) shape word / not enough to say, in %."
    yield ""
    yield "| truth | " + " | ".join(f"{size} failures" for size in SIZES) + " |"
    yield "|---|" + "---|" * len(SIZES)
    whole: dict[int, list[tuple[float, float, float, float]]] = {size: [] for size in SIZES}
    matrix = {size: np.zeros((len(TRUTHS), len(Reading))) for size in SIZES}
    for row, (truth, right) in enumerate(TRUTHS.items()):
        cells = []
        for size in SIZES:
            readings = [read(Case(truth, size), number).reading for number in range(fleets)]
            shares = split(readings, right)
            whole[size].append(shares)
            cells.append(" / ".join(f"{one:.0f}" for one in shares))
            for one in readings:
                matrix[size][row, list(Reading).index(one)] += 100 / fleets
        yield f"| {truth} | " + " | ".join(cells) + " |"
    means = [np.mean(whole[size], axis=0) for size in SIZES]
    cells = [f"{one[0]:.0f} / {one[1] + one[2]:.0f} / {one[3]:.0f}" for one in means]
    yield "| **all: right / wrong / not enough** | " + " | ".join(cells) + " |"
    for size in SIZES:
        yield ""
        yield f"{size} failures, every reading in %:"
        yield ""
        yield "| truth | " + " | ".join(Reading) + " |"
        yield "|---|" + "---|" * len(Reading)
        for row, truth in enumerate(TRUTHS):
            yield f"| {truth} | " + " | ".join(f"{one:.0f}" for one in matrix[size][row]) + " |"


def weaker_table(fleets: int) -> Iterator[str]:
    yield "| planted | 50 failures | 150 failures |"
    yield "|---|---|---|"
    for truth, effect in (("lot", 3.0), ("depot", 2.2), ("units", 3.8), ("burst", 3.8)):
        cells = []
        for size in (50, 150):
            case = Case(truth, size, effect=effect)
            readings = [read(case, number).reading for number in range(fleets)]
            cells.append(" / ".join(f"{one:.0f}" for one in split(readings, TRUTHS[truth])))
        yield f"| {truth} x{effect:g} | " + " | ".join(cells) + " |"


def others_table(fleets: int) -> Iterator[str]:
    """Fleets outside the eight truths."""
    yield "| fleet | failures | readings, % |"
    yield "|---|---|---|"
    for name, make, spread in (
        ("spread between units 0.5, told to the reading", {"truth": "spread", "spread": 0.5}, 0.5),
        ("spread between units 0.5, not told", {"truth": "spread", "spread": 0.5}, 0.1),
        ("season +-70 %", {"truth": "season"}, 0.1),
        ("later lives x6 at one depot", {"truth": "later"}, 0.1),
        ("random, 40 % late entry, planned removals",
         {"truth": "random", "late_entry": True, "planned_removals": True}, 0.1),
        ("wear-out, 40 % late entry, planned removals",
         {"truth": "wear-out", "late_entry": True, "planned_removals": True}, 0.1),
        ("bad lot, lots follow the calendar", {"truth": "lot", "lots_by_date": True}, 0.1),
        ("burst, lots follow the calendar", {"truth": "burst", "lots_by_date": True}, 0.1),
    ):  # fmt: skip
        for size in (50, 150):
            case = Case(failures=size, **make)
            readings = [read(case, number, spread=spread).reading for number in range(fleets)]
            counts = {one: readings.count(one) * 100 / fleets for one in set(readings)}
            told = ", ".join(
                f"{one} {share:.0f}" for one, share in sorted(counts.items(), key=lambda x: -x[1])
            )
            yield f"| {name} | {size} | {told} |"


def ratios_table(fleets: int) -> Iterator[str]:
    """Size of the planted factor as found, named or not."""
    yield "| planted | failures | 10 % | median | 90 % |"
    yield "|---|---|---|---|---|"
    for truth in ("lot", "depot"):
        for size in SIZES:
            case = Case(truth, size)
            found = [getattr(read(case, number), truth) for number in range(fleets)]
            low, middle, high = np.quantile(
                [one.ratio if one else 1.0 for one in found], [0.1, 0.5, 0.9]
            )
            yield f"| {truth} x{case.factor:g} | {size} | {low:.1f} | {middle:.1f} | {high:.1f} |"


def later_table(fleets: int) -> Iterator[str]:
    """Later lives against first ones within units."""
    yield "| fleet | failures | median ratio | interval covers 1 | whole interval above 1 |"
    yield "|---|---|---|---|---|"
    for name, make in (
        ("random", {"truth": "random"}),
        ("wear-out", {"truth": "wear-out"}),
        ("early", {"truth": "early"}),
        ("spread between units 0.5", {"truth": "spread", "spread": 0.5}),
        ("spread between units 1.0", {"truth": "spread", "spread": 1.0}),
        ("later lives x6 at one depot of five", {"truth": "later"}),
    ):
        for size in (50, 150):
            every = [read(Case(failures=size, **make), number).later for number in range(fleets)]
            later = [one for one in every if one is not None]
            covers = [one.interval.lower <= 1 <= one.interval.upper for one in later]
            above = [one.interval.lower > 1 for one in later]
            middle = np.median([one.ratio for one in later])
            yield (
                f"| {name} | {size} | {middle:.2f} | {np.mean(covers):.2f} | {np.mean(above):.2f} |"
            )


def speed_table() -> Iterator[str]:
    yield "| units | failures | pieces | seconds a reading |"
    yield "|---|---|---|---|"
    for units, failures in ((100, 50), (1000, 500), (5000, 2500)):
        case = Case("random", failures, units=units)
        rng = np.random.default_rng(1)
        lives, table = make_lives(case, rng)
        best = np.inf
        for _ in range(3):
            begun = time.perf_counter()
            read_pattern(lives, scale="days", units=table)
            best = min(best, time.perf_counter() - begun)
        yield f"| {units:,} | {int(lives['failed'].sum()):,} | {len(lives):,} | {best:.2f} |"


def main() -> None:
    tables = {
        "confusion": confusion_table, "weaker": weaker_table, "others": others_table,
        "ratios": ratios_table, "later": later_table, "speed": lambda fleets: speed_table(),
    }  # fmt: skip
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("parts", nargs="*", help=", ".join(tables))
    parser.add_argument("--fleets", type=int, default=80)
    parser.add_argument("--seed", type=int, default=SEED[0])
    chosen = parser.parse_args()
    SEED[:] = [chosen.seed]
    for name in chosen.parts or tables:
        begun = time.process_time()
        print(f"\n**{name}**\n", flush=True)
        for line in tables[name](chosen.fleets):
            print(line, flush=True)
        print(f"\n{time.process_time() - begun:.0f} s of processor time", flush=True)


if __name__ == "__main__":
    main()
