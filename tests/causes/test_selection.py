"""A part on a selection of the records: cuts lose nothing, the whole is what the month says."""

import shutil
from datetime import date

import numpy as np
import pytest

from rca.causes.findings import open_findings
from rca.causes.selection import Selection, groups_of, lives_from, study_selection
from rca.errors import RcaError
from rca.records.groups import Group
from tests.small_fleet import DEFAULT_YAML, write_fleet

UNITS = """
unit,in_service,depot,vin
A1,2024-01-01,North,x1
A2,2024-01-01,North,x2
B1,2024-01-01,South,x3
B2,2024-03-01,South,x4
"""
PARTS = "part,fitted_to\npump,all\nfan,all"


def repairs(seed=7):
    """Failures of two parts in two modes over a year, invented by a seeded draw."""
    rng = np.random.default_rng(seed)
    rows = ["unit,date,part,action,reason,mode"]
    for unit in ("A1", "A2", "B1", "B2"):
        for part, mean in (("pump", 40), ("fan", 70)):
            day = np.datetime64("2024-03-02")
            while (day := day + 1 + int(rng.exponential(mean))) < np.datetime64("2024-12-31"):
                mode = rng.choice(["leaks", "noisy"])
                rows.append(f"{unit},{day},{part},replaced,failure,{mode}")
    return "\n".join(rows)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """A small fleet with two depots."""
    return write_fleet(tmp_path_factory.mktemp("fleet"), yaml=DEFAULT_YAML, units=UNITS,
                       parts=PARTS, repairs=repairs())  # fmt: skip


@pytest.fixture(scope="module")
def whole(folder):
    """Findings of the whole fleet."""
    return open_findings(folder, month="2024-12")


def exposure(study, scale="days"):
    rows = study.rows
    return float((rows[f"age_{scale}"] - rows[f"entry_{scale}"]).sum())


def test_the_whole_is_what_the_month_says(whole, folder):
    study = study_selection(whole, folder, Selection("pump"))
    assert study.finding is whole.part("pump")
    assert study.pattern is whole.patterns["pump"]
    assert study.findings.screen is whole.screen
    assert not study.screened_alone


def test_the_same_records_read_again_give_the_same(whole, folder):
    """Narrowed to a period that holds everything, all is computed anew and must agree."""
    study = study_selection(whole, folder, Selection("pump", end=date(2024, 12, 31)))
    known = whole.part("pump")
    assert study.finding.fit.shape == pytest.approx(known.fit.shape)
    assert study.finding.repeat == known.repeat
    assert study.finding.left_out == known.left_out
    assert study.pattern.because == whole.patterns["pump"].because


def test_depots_add_up_to_the_fleet(whole, folder):
    all_ = study_selection(whole, folder, Selection("pump"))
    parts = [
        study_selection(whole, folder, Selection("pump", group=Group("depot", name)))
        for name in ("North", "South")
    ]
    assert sum(len(one.rows) for one in parts) == len(all_.rows)
    assert sum(one.finding.failures for one in parts) == all_.finding.failures
    assert sum(map(exposure, parts)) == pytest.approx(exposure(all_))
    assert {unit[0] for unit in parts[0].rows["unit"]} == {"A"}


def test_two_periods_add_up_to_the_whole(whole, folder):
    """Failures and running are neither lost nor counted twice at the border."""
    all_ = study_selection(whole, folder, Selection("pump"))
    for border in (date(2024, 6, 30), date(2024, 7, 1), date(2024, 9, 15)):
        after = date.fromordinal(border.toordinal() + 1)
        first = study_selection(whole, folder, Selection("pump", end=border))
        second = study_selection(whole, folder, Selection("pump", begin=after))
        assert first.finding.failures + second.finding.failures == all_.finding.failures
        recorded = first.finding.failures_recorded + second.finding.failures_recorded
        assert recorded == all_.finding.failures_recorded
        assert exposure(first) + exposure(second) == pytest.approx(exposure(all_), abs=2.0)


def test_a_failure_on_the_first_day_is_inside(whole, folder):
    day = whole.events.loc[whole.events["part"] == "pump", "day"].iloc[3]
    first = date.fromordinal(date(1970, 1, 1).toordinal() + int(day))
    rows = lives_from(whole.lives.of("pump"), first)
    assert (rows["end"].dt.date >= first).all()
    assert (rows["end"].dt.date == first).any()
    assert (rows["entry_days"] < rows["age_days"]).all()


def test_modes_share_the_failures(whole, folder):
    all_ = study_selection(whole, folder, Selection("pump"))
    modes = [study_selection(whole, folder, Selection("pump", mode=m)) for m in ("leaks", "noisy")]
    assert sum(one.finding.failures for one in modes) == all_.finding.failures
    assert all(one.finding.lives == all_.finding.lives for one in modes)
    assert sum(int(one.rows["failed"].sum()) for one in modes) == int(all_.rows["failed"].sum())


def test_groups_are_attributes_with_few_values(whole):
    """An attribute that is different for every unit, like a serial number, groups nothing."""
    assert groups_of(whole.fleet) == (Group("depot", "North"), Group("depot", "South"))


@pytest.mark.parametrize(
    ("selection", "says"),
    [
        (Selection("pumpe"), "no part 'pumpe' failed"),
        (Selection("pump", mode="leak"), "no failure mode 'leak'"),
        (Selection("pump", scale="miles"), "no scale 'miles'"),
        (Selection("pump", end=date(2025, 1, 1)), "the records end on 2024-12-31"),
        (Selection("pump", begin=date(2024, 6, 1), end=date(2024, 5, 1)), "before it begins"),
    ],
)
def test_what_cannot_be_selected_is_refused_with_a_hint(whole, folder, selection, says):
    with pytest.raises(RcaError, match=says) as caught:
        study_selection(whole, folder, selection)
    assert caught.value.next_step


def test_the_selection_says_what_it_is():
    chosen = Selection("pump", mode="leaks", scale="days", group=Group("depot", "North"),
                       begin=date(2024, 2, 1))  # fmt: skip
    text = str(chosen)
    assert text == "pump, leaks, depot North, 2024-02-01 to the end of the records, by days"
    assert str(Selection("pump")) == "pump, all failure modes, all units, whole record"


def test_a_folder_that_is_gone_is_not_needed_for_the_whole(whole, tmp_path):
    assert study_selection(whole, tmp_path / "gone", Selection("fan")).finding.part == "fan"
    shutil.rmtree(tmp_path, ignore_errors=True)
