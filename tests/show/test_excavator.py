"""A public export of excavator work orders, read through a fleet.yaml written by hand.

The set (four of five mining excavators) is read where RCA_OPEN_DATA names a folder. The counts
below are taken again from the file by plain pandas; 81 spreadsheet errors are published beside it.
"""

import shutil
from pathlib import Path

import pandas as pd
import pytest

from rca.records.fleet import Fleet, read_fleet
from rca.records.lives import build_lives

HERE = Path(__file__).parent / "excavator"


@pytest.fixture(scope="module")
def table(open_data) -> Path:
    """The export."""
    return open_data / "excavator_work_orders" / "excavator_work_orders.csv"


@pytest.fixture(scope="module")
def fleet(table, tmp_path_factory) -> Fleet:
    """The fleet folder of fleet.yaml and a copy of the export."""
    folder = tmp_path_factory.mktemp("excavator")
    shutil.copy(HERE / "fleet.yaml", folder)
    shutil.copy(table, folder)
    return read_fleet(folder)


def test_every_row_is_accounted_for(fleet, table):
    """Rows read = rows used + rows set aside, each once and with its line."""
    rows = len(pd.read_csv(table, dtype=str, index_col=False))
    account = fleet.account("repairs")
    assert account.read == rows == 4534
    assert account.used == len(fleet.repairs)
    aside = fleet.set_aside[fleet.set_aside["scope"].eq("row")]
    assert account.set_aside == len(aside) == aside["line"].nunique()
    assert account.used + account.set_aside == account.read


def test_rows_are_set_aside_for_the_reasons_stated(fleet, table):
    """Each rule takes as many rows as plain pandas counts, in the order in which rules apply."""
    raw = pd.read_csv(table, dtype=str, keep_default_na=False, index_col=False)
    shifted = raw["Unnamed: 16"].ne("")
    joined = raw["Part"].str.contains("_") & ~shifted
    both = raw["Location"].str.contains("Left.*Right|Right.*Left|Front.*Rear|Rear.*Front")
    both &= ~joined & ~shifted
    blank = raw["Part"].eq("NA") & ~both & ~shifted
    late = raw["Date"].eq("13/12/2012") & ~joined & ~both & ~blank
    doubled = raw[~(shifted | joined | both | blank | late)].duplicated()
    expected = {
        "fills no named": shifted, "joined": joined, "both": both, "blank": blank,
        "late": late, "doubled": doubled,
    }  # fmt: skip
    rule = fleet.set_aside["rule"]
    found = {
        "fills no named": rule.str.contains("moved to the right"),
        "joined": rule.eq("several parts in one cell"),
        "both": rule.str.contains("in one row"), "blank": rule.eq("must not be blank"),
        "late": rule.str.contains("after the cut-off"), "doubled": rule.str.contains("repeats"),
    }  # fmt: skip
    assert {k: int(v.sum()) for k, v in found.items()} == {
        k: int(v.sum()) for k, v in expected.items()
    }
    assert sum(int(v.sum()) for v in found.values()) == len(rule)


def test_words_and_places_mean_what_the_mapping_says(fleet):
    """Reasons from the order type; places of two words in one order; no place joined."""
    assert set(fleet.repairs["reason"].unique()) == {"failure", "planned", "accident", "other"}
    assert set(fleet.repairs["action"].unique()) == {"", "replaced", "repaired"}
    places = set(fleet.repairs["position"].unique())
    assert {"Left", "Right", "Front Right", "Rear Left"} <= places
    assert not any("_" in str(place) for place in places)
    assert fleet.repairs["meter"].isna().all()


def test_what_the_export_cannot_answer_is_said(fleet):
    """No meter, no unit list, and one order on several rows: each blocks or is noted."""
    assert fleet.is_blocked("meter lives")
    assert "several rows" in fleet.is_blocked("money")
    assert any("no units table" in note for note in fleet.notes)
    assert not fleet.is_blocked("lives")
    lives = build_lives(fleet)
    assert lives.rows["failed"].sum() > 1000
    assert lives.rows["renewed"].any()
