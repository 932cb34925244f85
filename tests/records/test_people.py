"""Names of people never leave the records."""

import pytest

from rca.errors import Refused
from rca.records.fleet import read_fleet
from tests.little_fleet import PEOPLE, change, little_fleet, read


def test_technicians_become_pseudonyms_in_their_column_and_in_free_text(tmp_path):
    fleet = read_fleet(little_fleet(tmp_path))
    said = fleet.repairs.astype(str).to_csv()
    assert not any(name in said for name in PEOPLE)
    assert fleet.repairs["technician"].nunique() == len(PEOPLE)
    assert fleet.repairs["complaint"].str.match(r"seen by person-[0-9a-f]{10}$").all()


def test_pseudonyms_stay_the_same_when_rows_are_added_and_names_are_spelled_otherwise(tmp_path):
    folder = little_fleet(tmp_path)
    before = read_fleet(folder).repairs.set_index("order")["technician"]
    rows = read(folder / "repairs.csv")
    rows.append({**rows[-1], "date": "2026-03-31", "order": "W9999", "technician": "ADA  brandt"})
    change(folder / "repairs.csv", rows)
    after = read_fleet(folder).repairs.set_index("order")["technician"]
    assert (after.loc[before.index] == before).all()
    assert after["W9999"] == before["W0"], "the first row is Ada Brandt's"


def test_two_fleets_have_different_pseudonyms_and_a_stated_salt_sets_them(tmp_path, monkeypatch):
    one = read_fleet(little_fleet(tmp_path / "a", seed=1)).repairs["technician"]
    two = read_fleet(little_fleet(tmp_path / "b", seed=2)).repairs["technician"]
    assert not set(one) & set(two)
    monkeypatch.setenv("FLEET_SALT", "a long text that nobody guesses")
    more = "people: {salt_env: FLEET_SALT}"
    three, four = (
        read_fleet(little_fleet(tmp_path / name, seed=seed, more=more)).repairs["technician"]
        for name, seed in (("c", 1), ("d", 2))
    )
    assert set(three) == set(four)


def test_a_missing_salt_is_refused_and_further_columns_can_be_named(tmp_path):
    with pytest.raises(Refused, match="FLEET_SALT"):
        read_fleet(little_fleet(tmp_path / "a", more="people: {salt_env: FLEET_SALT}"))
    folder = little_fleet(tmp_path / "b", more="people: {columns: [complaint]}")
    assert read_fleet(folder).repairs["complaint"].str.startswith("person-").all()
