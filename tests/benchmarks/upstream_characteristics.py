"""Operating characteristics of the upstream screen on invented fleets whose truth is known.

Run `python -m tests.benchmarks.upstream_characteristics [part ...] [--fleets N]` from the
project's folder; it prints the tables of the section "Upstream screen" of the README beside it.
Parts: null, looks, power, ratio, attributes, speed. Seeded; the default takes some 20 minutes of
one core.
"""

import argparse
import resource
import time
import zlib
from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import pandas as pd

from rca.causes.screen.before_after import count_before
from rca.causes.screen.candidate_rows import COMES_BEFORE
from rca.causes.screen.upstream import Screen, screen_upstream
from tests.benchmarks.upstream_fleets import (
    COMPANY,
    DAMAGED,
    PRECURSOR,
    TARGET,
    Precursor,
    Scene,
    make_fleet,
    until,
)

NO_LIVES = pd.DataFrame(
    {"unit": [], "part": [], "position": [], "fitting": [], "entry_days": [], "age_days": [],
     "failed": [], "lot": []}
)  # fmt: skip


def rng_of(name: str, number: int) -> np.random.Generator:
    return np.random.default_rng([20260101, zlib.crc32(name.encode()), number])


def screen(scene: Scene, rng: np.random.Generator) -> Screen:
    repairs, watch = make_fleet(scene, rng)
    return screen_upstream(repairs, watch, lives=NO_LIVES, targets=[TARGET])


def false_ones(found: pd.DataFrame) -> pd.DataFrame:
    """Candidates found that have nothing to do with the target."""
    return found[~found["candidate"].isin([*COMPANY, *DAMAGED, PRECURSOR])]


def upper_limit(hits: int, runs: int) -> float:
    from scipy.stats import beta

    return float(beta.ppf(0.95, hits + 1, runs - hits)) if hits < runs else 1.0


BIG, SMALL = Scene(), Scene(units=60, parts=20, failures=40)
LARGE = Scene(units=2000, failures=500)
NULLS: dict[str, tuple[Scene, float]] = {
    "300 units x 60 parts, 60 failures: nothing": (BIG, 1),
    "duty x4 on half the parts": (BIG.with_("duty"), 1),
    "season +-70 %, each its own phase": (BIG.with_("season"), 1),
    "visits with follow-ups": (BIG.with_("visits"), 1),
    "yearly inspections in a fixed order": (BIG.with_("inspections"), 1),
    "spells of hard work": (BIG.with_("spells"), 1),
    "target damages others": (BIG.with_("reverse"), 1),
    "ninefold trend": (BIG.with_("trend"), 1),
    "a quarter of repairs repeated": (BIG.with_("repeats"), 1),
    "new fleet that wears": (BIG.with_("new fleet"), 1),
    "fleet bought over four years that wears": (BIG.with_("staggered"), 1),
    "visits, season, spells, damage": (BIG.with_("visits", "season", "spells", "reverse"), 1),
    "60 units x 20 parts, 40 failures: nothing": (SMALL, 1),
    "visits with follow-ups (60)": (SMALL.with_("visits"), 1),
    "300 units x 200 parts: nothing": (replace(BIG, parts=200), 0.5),
    "2000 units, 500 failures: nothing": (LARGE, 0.5),
    "visits with follow-ups (2000)": (LARGE.with_("visits"), 0.5),
    "fleet over four years that wears (2000)": (LARGE.with_("staggered"), 0.5),
}


def null_table(fleets: int) -> Iterator[str]:
    yield "| fleet | fleets | any false candidate | any false 'comes before' | at most (95 %) |"
    yield "|---|---|---|---|---|"
    for name, (scene, part) in NULLS.items():
        runs = max(4, round(fleets * part))
        shown = before = 0
        for number in range(runs):
            false = false_ones(screen(scene, rng_of(name, number)).found)
            shown += len(false) > 0
            before += bool((false["word"] == COMES_BEFORE).any())
        yield (
            f"| {name} | {runs} | {shown / runs:.3f} | {before / runs:.3f} | "
            f"{upper_limit(shown, runs):.2f} |"
        )


def looks_table(fleets: int) -> Iterator[str]:
    """Monthly reruns for 24 months on one growing record."""
    yield "| fleet | fleets | any false candidate ever in 24 months | in the last month |"
    yield "|---|---|---|---|"
    for name, scene in (
        ("nothing, failures grow 25 to 60", BIG),
        ("nothing, 100 to 240", replace(BIG, failures=240)),
        ("visits, season, spells, damage", NULLS["visits, season, spells, damage"][0]),
        ("nothing, 60 units", SMALL),
    ):
        ever = last = 0
        for number in range(fleets):
            repairs, watch = make_fleet(scene, rng_of("looks " + name, number))
            shown = []
            for month in range(24):
                rows, seen = until(repairs, watch, 730 + 30 * (month + 1))
                found = screen_upstream(rows, seen, lives=NO_LIVES, targets=[TARGET]).found
                shown.append(len(false_ones(found)) > 0)
            ever, last = ever + any(shown), last + shown[-1]
        yield f"| {name} | {fleets} | {ever / fleets:.3f} | {last / fleets:.3f} |"


def power_rows() -> Iterator[tuple[str, Scene]]:
    for failures in (20, 40, 80, 160):
        for ratio, share in ((4, 0.2), (4, 0.4), (10, 0.2), (10, 0.4)):
            name = f"ratio {ratio}, {share:.0%} preceded, lag 10-120 d, {failures} failures"
            yield (
                name,
                replace(BIG, failures=failures, precursor=Precursor(ratio, share, (10, 120))),
            )
    for ratio, share, lag in (
        (10, 0.4, (1, 4)), (10, 0.3, (1, 14)), (6, 0.3, (5, 45)), (4, 0.4, (60, 240)),
    ):  # fmt: skip
        name = f"ratio {ratio}, {share:.0%}, lag {lag[0]}-{lag[1]} d, 80 failures"
        yield name, replace(BIG, failures=80, precursor=Precursor(ratio, share, lag))
    everything = BIG.with_("visits", "season", "spells", "reverse")
    for failures in (80, 160):
        name = f"ratio 4, 40 %, lag 10-120 d, {failures} failures, visits, season, spells, damage"
        yield (
            name,
            replace(everything, failures=failures, precursor=Precursor(4, 0.4, (10, 120))),
        )
    name = "ratio 4, 40 %, lag 10-120 d, 40 failures, 60 units x 20 parts"
    yield name, replace(SMALL, precursor=Precursor(4, 0.4, (10, 120)))
    yield (
        "ratio 2, 40 %, lag 10-120 d, 500 failures, 2000 units",
        replace(LARGE, precursor=Precursor(2, 0.4, (10, 120))),
    )


def power_table(fleets: int) -> Iterator[str]:
    yield (
        "| planted | fleets | found | comes before | first in rank | any false | "
        "ratio: median, covered by the interval (of those found) |"
    )
    yield "|---|---|---|---|---|---|---|"
    for name, scene in power_rows():
        runs = max(4, fleets // 10) if scene.units > 1000 else fleets
        counts, ratios, covered = np.zeros(4), [], []
        for number in range(runs):
            result = screen(scene, rng_of(name, number))
            mine = result.found[result.found["candidate"] == PRECURSOR]
            rank = result.tested.loc[result.tested["candidate"] == PRECURSOR, "rank"]
            counts += (
                len(mine) > 0,
                bool((mine["word"] == COMES_BEFORE).any()),
                bool((rank == 1).any()),
                len(false_ones(result.found)) > 0,
            )
            truth = scene.precursor.ratio if scene.precursor is not None else 1.0
            ratios += mine["ratio"].tolist()
            covered += ((mine["lower"] <= truth) & (truth <= mine["upper"])).tolist()
        share = counts / runs
        size = f"{np.median(ratios):.2g}, {np.mean(covered):.2f}" if ratios else "-"
        yield (
            f"| {name} | {runs} | {share[0]:.2f} | {share[1]:.2f} | {share[2]:.2f} | "
            f"{share[3]:.2f} | {size} |"
        )


def attribute_fleet(
    rng: np.random.Generator, *, units: int, failures: float, spread: float, depot: float = 1.0,
    confounded: bool = False,
) -> tuple[pd.DataFrame, pd.DataFrame]:  # fmt: skip
    """Lives of the target (shape 2, renewed at each failure) and units with 8 attributes.

    Units of depot "a" fail `depot` times as often; `confounded` gives them mostly model "m0".
    """
    place = rng.integers(0, 5, units)
    model = rng.integers(0, 4, units)
    if confounded:
        model = np.where((place == 0) & (rng.random(units) < 0.7), 0, model)
    level = rng.gamma(1 / spread, spread, units) if spread else np.ones(units)
    level = level * np.where(place == 0, depot, 1.0)
    watched = rng.integers(500, 1400, units)
    scale = 900.0 * (0.75 * units / failures) ** 0.5
    rows = []
    for unit in range(units):
        age, begun, fitting = 0.0, 0.0, 0
        while begun < watched[unit]:
            age = scale * (-np.log(rng.random()) / level[unit]) ** 0.5
            failed = begun + age < watched[unit]
            until_end = max(0.5, min(age, watched[unit] - begun))
            rows.append((str(unit), TARGET, "", fitting, 0.0, until_end, failed, ""))
            begun, fitting = begun + age, fitting + 1
    lives = pd.DataFrame(rows, columns=list(NO_LIVES.columns))
    frame = pd.DataFrame(
        {
            "unit": np.arange(units).astype(str),
            "depot": np.array(list("abcde"))[place],
            "model": np.array(["m0", "m1", "m2", "m3"])[model],
            **{f"attribute {k}": rng.integers(0, 2 + k, units).astype(str) for k in range(5)},
            "size": rng.normal(0, 1, units),
        }
    )
    return lives, frame


def screen_attributes(lives: pd.DataFrame, units: pd.DataFrame) -> Screen:
    """Screen attributes alone: the repairs hold nothing but the target's failures."""
    failed = lives[lives["failed"]].reset_index(drop=True)
    begin = pd.Timestamp("2021-01-01")
    days = pd.Series(np.arange(len(failed)) % 1500, dtype="int64")
    repairs = pd.DataFrame(
        {"unit": failed["unit"], "date": begin + pd.to_timedelta(days, unit="D"),
         "part": TARGET, "action": "replaced", "reason": "failure"}
    )  # fmt: skip
    watch = units[["unit"]].assign(watched_from=begin, watched_to=begin + pd.Timedelta(days=1500))
    return screen_upstream(repairs, watch, lives=lives, units=units, targets=[TARGET])


def attribute_table(fleets: int) -> Iterator[str]:
    yield "| fleet | fleets | any false attribute | depot found | told apart from model |"
    yield "|---|---|---|---|---|"
    for name, cell in {
        "60 units, 30 failures, spread 0.5": {"units": 60, "failures": 30, "spread": 0.5},
        "300 units, 60 failures, spread 0.5": {"units": 300, "failures": 60, "spread": 0.5},
        "300 units, 200 failures, spread 1.0": {"units": 300, "failures": 200, "spread": 1.0},
        "60 units, 60 failures, spread 1.0": {"units": 60, "failures": 60, "spread": 1.0},
        "depot x2.5, 300 units, 60 failures": {
            "units": 300,
            "failures": 60,
            "spread": 0.5,
            "depot": 2.5,
        },
        "depot x2.5, 300 units, 200 failures": {
            "units": 300,
            "failures": 200,
            "spread": 0.5,
            "depot": 2.5,
        },
        "the same, model follows depot": {
            "units": 300,
            "failures": 200,
            "spread": 0.5,
            "depot": 2.5,
            "confounded": True,
        },
    }.items():
        counts = np.zeros(3)
        for number in range(fleets):
            found = screen_attributes(*attribute_fleet(rng_of(name, number), **cell)).found
            depot = (
                found["candidate"].str.startswith("depot") if "depot" in cell else found["q"] < 0
            )
            apart = depot & ~found["note"].str.contains("model")
            counts += (bool((~depot).any()), bool(depot.any()), bool(apart.any()))
        share = counts / fleets
        power = f"{share[1]:.2f} | {share[2]:.2f}" if "depot" in cell else "- | -"
        yield f"| {name} | {fleets} | {share[0]:.3f} | {power} |"


def speed_table() -> Iterator[str]:
    rng = np.random.default_rng(1)
    rows, parts = 1_000_000, 200
    unit, day = rng.integers(0, 5000, rows), rng.integers(0, 1095, rows)
    code = rng.integers(0, parts, rows)
    used = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    best = min(
        _seconds(lambda: count_before(unit, day, code, window=90, n_codes=parts)) for _ in range(5)
    )
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    yield (
        f"All pairs of {parts} parts, {rows:,} events, 90 days: {best:.2f} s; the process held "
        f"{used:.0f} MB before, at most {peak:.0f} MB."
    )
    yield ""
    yield "| repair rows | units | parts screened | pairs tested | screen, s | s per 100 000 rows |"
    yield "|---|---|---|---|---|---|"
    for size in (75_000, 150_000, 300_000):
        repairs, watch = wide_fleet(size, rng)
        begun = time.perf_counter()
        result = screen_upstream(repairs, watch, lives=NO_LIVES)
        taken = time.perf_counter() - begun
        yield (
            f"| {size:,} | {len(watch):,} | {len(result.targets)} | {len(result.tested):,} | "
            f"{taken:.1f} | {taken / size * 1e5:.2f} |"
        )
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    yield f"\nPeak memory of the process over all of this: {peak:.0f} MB."


def _seconds(work: object) -> float:
    begun = time.perf_counter()
    work()  # type: ignore[operator]
    return time.perf_counter() - begun


def wide_fleet(rows: int, rng: np.random.Generator) -> tuple[pd.DataFrame, pd.DataFrame]:
    """60 rows a unit over five years, 100 parts of unlike frequency."""
    units = rows // 60
    weight = np.exp(rng.normal(0, 1.2, 100))
    repairs = pd.DataFrame(
        {
            "unit": pd.Categorical.from_codes(
                rng.integers(0, units, rows), [str(u) for u in range(units)]
            ),
            "date": np.datetime64("2020-01-01")
            + rng.integers(0, 1826, rows).astype("timedelta64[D]"),
            "part": pd.Categorical.from_codes(
                rng.choice(100, rows, p=weight / weight.sum()), [f"part {k}" for k in range(100)]
            ),
            "action": "replaced",
            "reason": rng.choice(["failure", "planned"], rows, p=[0.7, 0.3]),
        }
    )
    watch = pd.DataFrame(
        {"unit": [str(u) for u in range(units)], "watched_from": pd.Timestamp("2020-01-01"),
         "watched_to": pd.Timestamp("2024-12-30")}
    )  # fmt: skip
    return repairs, watch


def main() -> None:
    tables = {
        "null": null_table, "looks": looks_table, "power": power_table,
        "attributes": attribute_table, "speed": lambda fleets: speed_table(),
    }  # fmt: skip
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("parts", nargs="*", help=", ".join(tables))
    parser.add_argument("--fleets", type=int, default=80)
    chosen = parser.parse_args()
    for name in chosen.parts or tables:
        begun = time.process_time()
        print(f"\n**{name}**\n", flush=True)
        for line in tables[name](chosen.fleets):
            print(line, flush=True)
        print(f"\n{time.process_time() - begun:.0f} s of processor time", flush=True)


if __name__ == "__main__":
    main()
