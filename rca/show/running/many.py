"""Many reports in one run: one page for each fleet or group of units, and one page over all.

Each report is made by `write_report` in a process of an executor; one that fails stops no other
and leaves its last good report as it is. The overview lists every one, and why any failed.
"""

import logging
import os
from collections.abc import Mapping, Sequence
from concurrent.futures import Executor, Future, ProcessPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass
from multiprocessing import get_context
from pathlib import Path
from typing import Any, Final

from rca.errors import RcaError
from rca.records.groups import Group, group_values
from rca.records.safe_names import file_name
from rca.records.settings import read_settings
from rca.show.running import runs
from rca.show.running.overview import Outcome, write_overview
from rca.show.running.preloading import begin_preloading, forking_manager
from rca.show.running.report import ATTENTION, DONE, TIME_LIMIT, group_folder, write_report

log = logging.getLogger("rca.report")

PROCESSES: Final = 2
FAILED, ALL_REFUSED = 1, 4
_DIED = "its process died; out of memory, or ended by hand?"


@dataclass(frozen=True, slots=True)
class Order:
    """One report to make: of a fleet folder, of one group of its units or of all."""

    name: str
    fleet_folder: Path
    out: Path
    group: Group | None = None


@dataclass(frozen=True, slots=True)
class Reports:
    """All outcomes, the folder of the overview, and one exit code for the whole."""

    folder: Path
    outcomes: tuple[Outcome, ...]

    @property
    def failed(self) -> tuple[Outcome, ...]:
        """The reports that were not made."""
        return tuple(one for one in self.outcomes if one.error)

    @property
    def exit_code(self) -> int:
        """0 all done, 3 one of them has something new, 1 one failed, 4 all were refused."""
        if self.failed:
            refused = all(one.exit_code == ALL_REFUSED for one in self.outcomes)
            return ALL_REFUSED if refused else FAILED
        return ATTENTION if any(one.attention for one in self.outcomes) else DONE


def orders_of_groups(fleet_folder: Path, attribute: str, *, out: Path) -> list[Order]:
    """Return one order for each value that an attribute of the units has.

    Raises
    ------
    Refused
        The folder cannot be used, or there is no such attribute.
    """
    from rca.records.fleet import read_tables

    checked = read_tables(read_settings(fleet_folder))
    groups = [Group(attribute, value) for value in group_values(checked, attribute)]
    return [Order(str(one), fleet_folder, out / group_folder(one), one) for one in groups]


def orders_of_fleets(folders: Sequence[Path], *, out: Path) -> list[Order]:
    """Return one order for each fleet folder; folders of one name get numbers."""
    orders: list[Order] = []
    for folder in folders:
        name = file_name(folder.resolve().name)
        alike = sum(one.out.name.rsplit(".", 1)[0] == name for one in orders)
        place = out / (f"{name}.{alike + 1}" if alike else name)
        orders.append(Order(folder.resolve().name, folder, place))
    return orders


def write_reports(
    orders: Sequence[Order],
    *,
    out: Path,
    month: str | None = None,
    seed: int = 0,
    time_limit: float = TIME_LIMIT,
    executor: Executor | None = None,
    processes: int = PROCESSES,
) -> Reports:
    """Make many reports below `out`, and an overview `OUT/<month>/overview.html` over them.

    Parameters
    ----------
    executor
        Anything with the interface of `concurrent.futures`; default a pool of `processes`
        processes that load everything once and fork each kernel.

    Raises
    ------
    Busy
        Another run is writing below `out`.
    NotWritten
        The overview cannot be written.
    """
    out = Path(out).resolve()
    with runs.only_run(out):
        given = {"month": month, "seed": seed, "time_limit": time_limit}
        if executor is not None:
            outcomes = _make_all(orders, executor, given)
        else:
            outcomes = _in_own_pools(orders, processes, given)
        with runs.new_run(out) as run:
            run.name = _month_of(outcomes, month)
            write_overview(run.work, outcomes, out=out)
        assert run.folder is not None
        runs.point_at_latest(out)
    return Reports(run.folder, tuple(outcomes))


def _month_of(outcomes: Sequence[Outcome], month: str | None) -> str:
    """Return the month of the overview: the one asked for, or the latest that was made."""
    made = [one.month for one in outcomes if one.month]
    return month or max(made, default="") or runs.this_month()


def _in_own_pools(
    orders: Sequence[Order], processes: int, given: Mapping[str, Any]
) -> list[Outcome]:
    """Run in a pool of our own; what a dying process took with it is tried once more, alone."""
    done: dict[str, Outcome] = {}
    for size in (processes, 1):
        left = [one for one in orders if done.get(one.name, _LOST).error == _DIED]
        if not left:
            break
        pool = ProcessPoolExecutor(
            max_workers=min(size, len(left)), mp_context=get_context("spawn"), initializer=_prepare
        )
        with pool:
            done |= {one.name: one for one in _make_all(left, pool, given)}
    return [done[one.name] for one in orders]


_LOST = Outcome("", "", error=_DIED, exit_code=FAILED)


def _prepare() -> None:
    """Load in each worker what all its reports need, and the process their kernels fork from."""
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
        os.environ.setdefault(name, "1")  # each worker has one core, more threads only wait
    begin_preloading()
    logging.basicConfig(format="%(asctime)s %(message)s", level=log.getEffectiveLevel())


def _make_all(
    orders: Sequence[Order], executor: Executor, given: Mapping[str, Any]
) -> list[Outcome]:
    waiting: dict[Future[Outcome], Order] = {
        executor.submit(make_one, order, **given): order for order in orders
    }
    outcomes = {}
    for place, future in enumerate(as_completed(waiting), start=1):
        order = waiting[future]
        outcomes[order.name] = found = _outcome(future, order)
        said = found.error.splitlines()[0] if found.error else f"done, {found.folder}"
        log.info("%d of %d, %s: %s", place, len(waiting), order.name, said)
    return [outcomes[order.name] for order in orders]


def _outcome(future: Future[Outcome], order: Order) -> Outcome:
    try:
        return future.result()
    except BrokenProcessPool:
        return Outcome(order.name, order.out.name, error=_DIED, exit_code=FAILED)
    except Exception as error:  # whatever it is, the other reports go on
        said = f"{type(error).__name__}: {error}"
        return Outcome(order.name, order.out.name, error=said, exit_code=FAILED)


def make_one(order: Order, *, month: str | None, seed: int, time_limit: float) -> Outcome:
    """Make one report and return what became of it; runs in a process of the executor."""
    try:
        done = write_report(
            order.fleet_folder,
            month=month,
            out=order.out,
            seed=seed,
            group=order.group,
            time_limit=time_limit,
            kernel_manager=forking_manager(),
        )
    except RcaError as error:
        return Outcome(order.name, order.out.name, error=str(error), exit_code=error.exit_code)
    return Outcome(
        order.name,
        order.out.name,
        folder=done.folder.name,
        attention=done.attention,
        exit_code=done.exit_code,
        lines=done.summary["lines"],
        fleet=done.summary["fleet"],
        month=done.summary["month"],
    )
