"""Which units first, and how many to inspect, from invented records."""

import json
from types import SimpleNamespace

import jsonschema
import numpy as np
import pandas as pd
import pytest

from rca.causes.extent import extents_of
from rca.causes.findings import open_findings
from rca.causes.pattern.reading import Reading
from rca.causes.summary.whole import summary
from rca.life.demonstration import units_to_inspect
from rca.records import files
from rca.show import page
from tests.small_fleet import write_fleet

YAML = """
name: Extent (invented)
meter_unit: km
records_begin: 2020-01-01
cutoff: 2023-12-31
timezone: UTC
"""


@pytest.fixture(scope="module")
def findings(tmp_path_factory):
    """80 units; pumps fail 5 times as often at depot South, where 20 of them stand."""
    rng = np.random.default_rng(4)
    units, rows = ["unit, in_service, depot"], ["unit, date, part, action, reason"]
    for unit in range(80):
        depot = "South" if unit % 4 == 0 else "North"
        units.append(f"U{unit:02d}, 2020-01-01, {depot}")
        for part, mean in (("pump", 500 if depot == "South" else 2500), ("belt", 900)):
            day = 0.0
            while (day := day + max(1.0, rng.exponential(mean))) < 1460:
                date = np.datetime64("2020-01-01") + int(day)
                rows.append(f"U{unit:02d}, {date}, {part}, replaced, failure")
    folder = write_fleet(
        tmp_path_factory.mktemp("extent") / "fleet", yaml=YAML, units="\n".join(units),
        repairs="\n".join(rows), parts="part, fitted_to\npump, all\nbelt, all\n",
    )  # fmt: skip
    return open_findings(folder, month="2023-12")


def test_a_depot_found_is_bounded_by_inspecting_its_own_units(findings):
    (one,) = findings.extents
    assert (one.part, one.candidate) == ("pump", "depot = South")
    assert one.population == 20
    assert one.samples == ((0.1, units_to_inspect(20, 0.1)), (0.05, units_to_inspect(20, 0.05)))
    rows = findings.lives.of("pump")
    failures = rows.groupby("unit")["failed"].sum()
    south = [unit for unit in failures.index if int(unit[1:]) % 4 == 0]
    assert set(one.first) <= set(south)
    assert len(one.first) == 5
    assert "pump, depot = South: first" in str(one)


def test_units_that_have_got_a_fix_are_left_out(findings):
    fixed = pd.DataFrame({"fix": "new seal", "unit": [f"U{n:02d}" for n in range(0, 40, 4)],
                          "date": pd.Timestamp("2023-12-01")})  # fmt: skip
    fleet = SimpleNamespace(
        watch=findings.fleet.watch, cutoff=findings.fleet.cutoff, places=findings.fleet.places,
        units=findings.fleet.units, fixes=fixed,
    )  # fmt: skip
    verdict = SimpleNamespace(plan=SimpleNamespace(fix="new seal", part="pump"))
    (one,) = extents_of(fleet, findings.lives, findings.screen, {}, (), [verdict])
    assert one.population == 10
    assert not set(one.first) & set(fixed["unit"])
    assert one.where.endswith("and have no fix of it")


def test_a_pattern_that_names_a_depot_has_an_extent_without_the_screen(findings):
    pattern = SimpleNamespace(
        reading=Reading.DEPOT, where="depot North, later lives", lot=None,
        depot=SimpleNamespace(name="North"),
    )  # fmt: skip
    found = extents_of(findings.fleet, findings.lives, None, {"belt": pattern}, (), ())
    assert [(one.part, one.candidate, one.population) for one in found] == [
        ("belt", "depot = North", 60)
    ]


def test_it_is_in_the_summary_and_the_page_says_it_with_the_same_numbers(findings):
    data = json.loads(json.dumps(summary(findings)))
    jsonschema.validate(data, files.package_json("causes/summary/summary.schema.json"))
    (one,) = data["extents"]
    text = page.part_section(data, "pump").html
    assert "How far it reaches" in text
    assert f'value="{one["population"]}" data-of="extents[0].population"' in text
    size = one["samples"][0]["inspect"]
    assert f'value="{size}" data-of="extents[0].samples[0].inspect"' in text
    assert "How far it reaches" not in page.part_section(data, "belt").html
    said = "how far it reaches, pump and depot South: look first at"
    assert any(step.startswith(said) for step in data["next_steps"])
