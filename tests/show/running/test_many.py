"""Many reports in one run: a page for each, an overview, those that failed and why."""

import json
from concurrent.futures import Executor, Future

import pytest
from click.testing import CliRunner

from rca.cli import main
from rca.show.running import many, preloading
from rca.show.running.many import (
    Outcome,
    Reports,
    orders_of_fleets,
    orders_of_groups,
    write_reports,
)
from tests.little_fleet import little_fleet


class InTurn(Executor):
    """The standard interface of an executor, one after the other in this process."""

    def submit(self, function, /, *args, **kwargs):
        future = Future()
        try:
            future.set_result(function(*args, **kwargs))
        except Exception as error:
            future.set_exception(error)
        return future


def test_one_that_fails_stops_no_other_and_its_last_good_report_stays(tmp_path, in_process):
    good, bad = (little_fleet(tmp_path / name, seed=seed) for name, seed in (("a", 1), ("b", 2)))
    orders = orders_of_fleets([good, bad], out=tmp_path / "out")
    first = write_reports(orders, out=tmp_path / "out", month="2026-02", executor=InTurn())
    assert first.failed == ()
    (bad / "repairs.csv").write_text("unit,date\n", encoding="utf-8")
    second = write_reports(orders, out=tmp_path / "out", month="2026-03", executor=InTurn())
    assert second.exit_code == 1
    assert [one.name for one in second.failed] == ["b"]
    page = (second.folder / "overview.html").read_text(encoding="utf-8")
    assert "../a/2026-03/report.html" in page
    assert "../b/2026-02/report.html" in page, "the last good report of the one that failed"
    assert "needs a column" in page
    told = json.loads((second.folder / "overview.json").read_text(encoding="utf-8"))["reports"]
    assert [one["month"] for one in told] == ["2026-03", ""]
    for one in told:
        assert (second.folder / one["page"]).resolve().is_file()


def test_an_unforeseen_error_of_one_report_is_one_line_of_the_overview(tmp_path, monkeypatch):
    monkeypatch.setattr(many, "make_one", _breaks)
    orders = orders_of_fleets([tmp_path / "a", tmp_path / "b"], out=tmp_path / "out")
    done = write_reports(orders, out=tmp_path / "out", month="2026-03", executor=InTurn())
    assert [one.error for one in done.failed] == ["KeyError: 'planted'"] * 2
    assert (done.folder / "overview.html").is_file()


def _breaks(order, **_):
    raise KeyError("planted")


def test_folders_of_one_name_do_not_share_a_place(tmp_path):
    folders = [tmp_path / place / "fleet" for place in ("x", "y", "z")]
    names = [one.out.name for one in orders_of_fleets(folders, out=tmp_path)]
    assert len(set(names)) == 3


def test_exit_codes_of_many():
    done, new = Outcome("a", "a"), Outcome("b", "b", attention=("x",), exit_code=3)
    failed, refused = (Outcome("c", "c", error="e", exit_code=code) for code in (1, 4))
    codes = [
        Reports(None, outcomes).exit_code
        for outcomes in ((done,), (done, new), (new, failed), (done, refused), (refused, refused))
    ]
    assert codes == [0, 3, 1, 1, 4]


def test_each_depot_in_two_processes_with_forked_kernels(tmp_path):
    """The real thing: worker processes, papermill, kernels forked from a loaded process."""
    folder, out = little_fleet(tmp_path / "fleet"), tmp_path / "out"
    ran = CliRunner().invoke(
        main, ["report", str(folder), "--each", "depot", "--month", "2026-03", "--out", str(out)]
    )
    assert ran.exit_code == 3, ran.output
    for depot in ("north", "south"):
        page = (out / depot / "latest" / "report.html").read_text(encoding="utf-8")
        assert page.count('class="figure"') >= 5
        assert f"depot {depot.title()}" in page
    assert "depot South" in (out / "latest" / "overview.html").read_text(encoding="utf-8")
    assert len(orders_of_groups(folder, "depot", out=out)) == 2


def test_kernels_can_be_forked_where_it_matters():
    import sys

    if sys.platform != "linux":
        pytest.skip("forked kernels are used on Linux")
    assert preloading.can_preload()
