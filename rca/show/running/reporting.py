"""What `rca report` does: a plain log on stderr, where the report is on stdout, an exit code."""

import logging
import sys
import time
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from rca.show.running.preloading import begin_preloading, forking_manager


@dataclass(frozen=True, slots=True)
class Options:
    """What holds for every report of one call."""

    out: Path
    month: str | None = None
    seed: int = 0
    time_limit: float = 60.0


def log_to_stderr() -> None:
    """Log each step with its time, in UTC, on stderr."""
    handler = logging.StreamHandler(sys.stderr)
    formatter = logging.Formatter("%(asctime)s %(message)s", "%Y-%m-%dT%H:%M:%SZ")
    formatter.converter = time.gmtime
    handler.setFormatter(formatter)
    logger = logging.getLogger("rca")
    logger.handlers, logger.propagate = [handler], False
    logger.setLevel(logging.INFO)


def report_one(fleet: Path, options: Options) -> int:
    """Make one report, say where it is and what is new; return the exit code."""
    log_to_stderr()
    begin_preloading()  # goes on while this process still imports its own libraries
    from rca.show.running.report import write_report

    done = write_report(
        fleet,
        month=options.month,
        out=options.out,
        seed=options.seed,
        time_limit=options.time_limit,
        kernel_manager=forking_manager(),
    )
    print(f"report: {done.folder / 'report.html'}")
    for line in done.attention:
        print(f"needs a person: {line}", file=sys.stderr)
    return done.exit_code


def report_all(
    fleets: Sequence[Path], options: Options, *, each: str | None, processes: int
) -> int:
    """Make many reports and their overview, say what failed and what is new; return the code."""
    from rca.show.running.many import orders_of_fleets, orders_of_groups, write_reports

    log_to_stderr()
    out = options.out.resolve()
    orders = orders_of_fleets(fleets, out=out)
    if each is not None:
        places = [out] if len(fleets) == 1 else [one.out for one in orders]
        orders = [
            order
            for one, place in zip(orders, places, strict=True)
            for order in orders_of_groups(one.fleet_folder, each, out=place)
        ]
    done = write_reports(
        orders,
        out=out,
        month=options.month,
        seed=options.seed,
        time_limit=options.time_limit,
        processes=processes,
    )
    print(f"overview: {done.folder / 'overview.html'}")
    for one in done.failed:
        print(f"failed: {one.name}: {one.error}", file=sys.stderr)
    for one in done.outcomes:
        for line in one.attention:
            print(f"needs a person: {one.name}: {line}", file=sys.stderr)
    return done.exit_code
