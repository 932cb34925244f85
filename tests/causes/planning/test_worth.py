"""Which way of going on pays, from records to summary.json, on invented histories."""

import json

import jsonschema
import numpy as np
import pytest

from rca.causes.findings import open_findings
from rca.causes.summary.whole import summary
from rca.records import files
from tests.small_fleet import write_fleet

YAML = """
name: Ways to repair (invented)
meter_unit: km
currency: EUR
records_begin: 2020-01-01
cutoff: 2023-12-31
timezone: UTC
"""
PARTS = """
part, fitted_to, planned_cost, failure_cost
pump, all, 200, 1000
seal, all, 50, 100
belt, all, , 90
"""


def histories(rng, units=60, days=1460):
    """Rows: pumps with every second repair on the cause too (then 4 times as durable), seals now
    and then cleaned (then half as durable), belts at random."""
    rows = ["unit, date, part, action, reason, cause_addressed, cost"]
    for unit in range(units):
        for part in ("pump", "seal", "belt"):
            day, number, factor = 0.0, 0, 1.0
            while True:
                scale, shape = {"pump": (300, 2.5), "seal": (350, 1.5), "belt": (600, 1.0)}[part]
                day += max(1.0, factor * scale * rng.weibull(shape))
                if day >= days:
                    break
                with_cause = part == "pump" and (unit + number) % 2 == 0
                cleaned = part == "seal" and rng.random() < 0.5
                said = {True: "yes", False: "no"}[with_cause] if part == "pump" else ""
                action = "cleaned" if cleaned else "replaced"
                factor = 4.0 if with_cause else 0.5 if cleaned else 1.0
                date = np.datetime64("2020-01-01") + int(day)
                rows.append(f"U{unit}, {date}, {part}, {action}, failure, {said}, 150")
                number += 1
    return "\n".join(rows)


@pytest.fixture(scope="module")
def findings(tmp_path_factory):
    units = "unit, in_service\n" + "\n".join(f"U{n}, 2020-01-01" for n in range(60))
    folder = write_fleet(
        tmp_path_factory.mktemp("ways") / "fleet", yaml=YAML, parts=PARTS, units=units,
        repairs=histories(np.random.default_rng(8)),
    )  # fmt: skip
    return open_findings(folder, month="2023-12")


@pytest.fixture(scope="module")
def money(findings):
    """`money` of each part in summary.json, which fits its schema."""
    data = json.loads(json.dumps(summary(findings)))
    jsonschema.validate(data, files.package_json("causes/summary/summary.schema.json"))
    return {one["part"]: one["money"] for one in data["parts"] if one["mode"] is None}


def test_the_cause_removed_is_compared_within_units_and_priced(findings, money):
    """Planted: lives 4 times as long, so a rate 4^-2.5 = 0.03 of the other at equal age."""
    repairs = money["pump"]["repairs"]
    within = repairs["within_units"]
    assert within["lower"] < 4**-2.5 < within["upper"]
    assert repairs["lives_with_cause"] + repairs["lives_part_only"] > within["failures"] > 20
    worth = money["pump"]["cause_worth"]
    assert worth["shown_by"] == "repairs that also removed the cause"
    saved = 1000 * (worth["failures_part_only"] - worth["failures_with_cause"]["value"])
    assert worth["value"] == pytest.approx(saved, rel=1e-5)
    assert worth["cost_part_only"] - worth["cost_with_cause"] == pytest.approx(saved, rel=1e-5)
    assert worth["lower"] <= worth["value"] <= worth["upper"]
    assert worth["horizon"] == worth["horizon_days"] == 730
    assert "saves" in str(findings.worth["pump"])


def test_an_age_to_replace_is_named_only_for_wear_and_known_costs(money):
    assert money["belt"]["replace_at"] is None
    assert "planned_cost" in money["belt"]["why_not"]["replacement"] or (
        "unknown" in money["belt"]["why_not"]["replacement"]
    )
    assert money["seal"]["replace_at"] is None or not money["seal"]["replace_at"]["pays"]


def test_restored_parts_are_set_against_new_ones(money):
    """Planted: half as durable after cleaning."""
    restored = money["seal"]["restored"]
    assert restored["lower"] < restored["value"] < restored["upper"] < 1
    assert restored["restored"]["spells"] > restored["restored"]["failures"] > 20
    assert restored["within_units"]["value"] > 1


def test_every_question_without_an_answer_says_why(money):
    keys = {"cost_rate": "cost_rate", "replace_at": "replacement", "repairs": "repairs",
            "restored": "restored", "cause_worth": "cause"}  # fmt: skip
    for one in money.values():
        for key, why in keys.items():
            assert (one[key] is None) == bool(one["why_not"].get(why)), key
    assert money["belt"]["why_not"]["restored"] == "none was restored (repaired, cleaned, adjusted)"
