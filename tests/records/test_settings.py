"""fleet.yaml: what it may say, the defaults that it leaves in force, every fault with its line."""

from datetime import date

import jsonschema
import pytest

from rca.errors import Refused
from rca.records import files
from rca.records.columns import TABLES
from rca.records.settings import read_settings, settings_of
from rca.records.starting import FLEET_TEMPLATE

START = "name: F\nmeter_unit: km\ncutoff: 2024-12-31\nrecords_begin: 2024-01-01\n"


def settings(tmp_path, text):
    (tmp_path / "fleet.yaml").write_text(text, encoding="utf-8")
    return read_settings(tmp_path)


def problems(tmp_path, text):
    with pytest.raises(Refused) as refused:
        settings(tmp_path, text)
    return refused.value.problems


def test_the_schema_is_a_schema_and_knows_the_tables():
    schema = files.package_json("records/fleet.schema.json")
    jsonschema.Draft202012Validator.check_schema(schema)
    assert set(schema["properties"]["tables"]["properties"]) == set(TABLES)


def test_one_line_is_enough_and_all_else_is_told_as_a_default(tmp_path):
    found = settings(tmp_path, "tables: {repairs: r.csv}\n")
    assert (found.name, found.meter_unit, found.timezone) == (tmp_path.name, "km", "UTC")
    assert (found.records_begin, found.cutoff, found.renews) == (None, None, ("replaced",))
    assert (found.repeat_days, found.repeat_meter, found.most_use_a_day) == (90, 5000.0, 1500.0)
    told = {line.split(":")[0] for line in found.defaults}
    assert told >= {
        "name", "meter_unit", "currency", "records_begin", "cutoff", "timezone", "renews",
        "repeat_window.days", "repeat_window.meter", "most_use_a_day", "tables.repairs",
    }  # fmt: skip


def test_what_is_stated_is_no_default(tmp_path):
    text = START + "timezone: Europe/Vienna\nrepeat_window: {days: 30, meter: null}\n"
    text += "tables: {repairs: {file: r.csv, decimal: ',', date_order: day first}}\n"
    found = settings(tmp_path, text)
    assert (found.repeat_days, found.repeat_meter) == (30, None)
    assert (found.cutoff, found.records_begin) == (date(2024, 12, 31), date(2024, 1, 1))
    repairs = next(line for line in found.defaults if line.startswith("tables.repairs"))
    assert "decimal" not in repairs
    assert "dates" not in repairs
    assert "delimiter" in repairs
    assert not any(line.startswith(("timezone", "cutoff")) for line in found.defaults)


def test_defaults_hang_on_the_unit_of_the_meter(tmp_path):
    found = settings(tmp_path, "meter_unit: hours\ntables: {repairs: r.csv}\n")
    assert (found.most_use_a_day, found.repeat_meter) == (24.0, 250.0)


def test_rules_and_source_of_a_table(tmp_path):
    text = """tables:
  repairs:
    file: r.csv
    columns: {unit: No}
    date_order: {date: day first, closed: year first}
    decimal: ","
    thousands: "."
    missing: ["-"]
    values: {reason: {"1": failure}}
    set_aside: {unit: {"9*": pool}}
    affixes: [EUR]
    encoding: cp1252
    header_line: 3
"""
    found = settings(tmp_path, text)
    rules, source = found.rules["repairs"], found.sources["repairs"]
    assert (rules.order_of("date"), rules.order_of("fitted_date")) == ("day first", "")
    assert (rules.decimal, rules.thousands, rules.missing) == (",", ".", ("", "-"))
    assert rules.values == {"reason": {"1": "failure"}}
    assert (source.encoding, source.header_line, source.path) == ("cp1252", 3, tmp_path / "r.csv")


def test_fixes_of_fleet_yaml(tmp_path):
    text = START + "tables: {repairs: r.csv}\nfixes:\n  new hose:\n    part: pump\n"
    text += "    reading: {quantity: vacuum, unit: bar, at_most: 0.2}\n"
    found = settings(tmp_path, text)
    fix = found.fixes["new hose"]
    assert (fix.part, fix.kind, fix.chosen_by, fix.target_ratio) == (
        "pump", "corrective", "other", 0.5,
    )  # fmt: skip
    assert fix.reading["at_most"] == 0.2
    told = "fixes.new hose: kind corrective, chosen_by other, target_ratio 0.5"
    assert told in found.defaults


TABLE = "tables: {repairs: r.csv}\n"


@pytest.mark.parametrize(
    ("text", "line", "column", "rule", "step"),
    [
        ("cutoff: 2024-02-30\n" + TABLE, 1, "cutoff", "is not a real date", ""),
        ("cutoff: 1.2.24\n" + TABLE, 1, "cutoff", "a date written YYYY-MM-DD", ""),
        (
            "cutoff: 2024-01-31\nrecords_begin: 2024-02-01\n" + TABLE,
            2, "records_begin", "lies after the cut-off 2024-01-31", "correct one",
        ),
        (TABLE + "timezone: Europe/Wien\n", 2, "timezone", "is no time zone", "'Europe/Vienna'"),
        (TABLE + "timezone: ../../x\n", 2, "timezone", "is no time zone", "UTC"),
        (TABLE + "meter_unit: KM\n", 2, "meter_unit", "is not one of the allowed words", "'km'"),
        (TABLE + "renews: [swapped]\n", 2, "renews.0", "is not one of the allowed words", ""),
        (TABLE + "fixes: {a: {part: p, registered: 2024-13-01}}\n", 2, "fixes.a.registered",
         "is not a real date", ""),
        (TABLE + "fixes: {a: {part: p, reading: {at_most: x}}}\n", 2, "fixes.a.reading.at_most",
         "must be a number", ""),
        (TABLE + "fixes: {a: {part: p, target_ratio: 1}}\n", 2, "fixes.a.target_ratio",
         "must be below 1", ""),
        ("tables:\n  repairs: {file: r.csv, columns: {unti: No}}\n", 2,
         "tables.repairs.columns.unti", "'unti' is not one of the kit's columns", "'unit'"),
        ("tables:\n  repairs: {file: r.csv, values: {reasn: {a: b}}}\n", 2,
         "tables.repairs.values.reasn", "'reasn' is not one of the kit's columns", "'reason'"),
        ("tables:\n  repairs: {file: r.csv, values: {reason: {a: failed}}}\n", 2,
         "tables.repairs.values.reason.a", "is not an allowed word", "'failure'"),
        ("tables:\n  repairs: {file: r.csv, date_order: {dat: day first}}\n", 2,
         "tables.repairs.date_order.dat", "'dat' is not a column of dates", "'date'"),
        ("tables:\n  repairs: {file: r.csv, date_order: dmy}\n", 2, "tables.repairs.date_order",
         "is not one of the allowed words", "day first"),
        ("tables:\n  repairs: {file: r.csv, encoding: utf9}\n", 2, "tables.repairs.encoding",
         "is no known encoding", "utf-8"),
        ("tables:\n  repairs: {file: r.csv, delimiter: ';;'}\n", 2, "tables.repairs.delimiter",
         "is not one of the allowed words", "';'"),
        ("tables:\n  repairs: {database_env: X, query: ''}\n", 2, "tables.repairs.query",
         "must not be empty", ""),
    ],
)  # fmt: skip
def test_each_fault_is_told_with_its_line(tmp_path, text, line, column, rule, step):
    found = problems(tmp_path, text)[0]
    assert (found.file, found.line, found.column) == ("fleet.yaml", line, column)
    assert rule in found.rule
    assert step in found.next_step


@pytest.mark.parametrize(
    "path", ["../r.csv", "a/../../r.csv", "/r.csv", "C:\\r.csv", "..\\r.csv", "\\\\host\\r.csv"]
)
def test_a_table_lies_inside_the_fleet_folder(tmp_path, path):
    found = problems(tmp_path, f"tables:\n  repairs: {{file: '{path}'}}\n")[0]
    assert (found.line, found.value) == (2, path)
    assert found.rule == "lies outside the fleet folder"


def test_all_faults_are_told_at_once(tmp_path):
    text = "cutoff: 2024-02-30\ntimezone: x\ntables: {repairs: ../r.csv}\n"
    assert len(problems(tmp_path, text)) == 3


def test_a_folder_that_is_none_is_refused(tmp_path):
    with pytest.raises(Refused, match="the folder does not exist"):
        read_settings(tmp_path / "nowhere")
    with pytest.raises(Refused, match=r"not found in .*  -> is this a fleet folder"):
        read_settings(tmp_path)
    (tmp_path / "file").write_text("x")
    with pytest.raises(Refused, match="is no folder"):
        read_settings(tmp_path / "file")


@pytest.mark.parametrize("text", ["", "- a\n", "5\n"])
def test_a_file_without_keys_is_refused(tmp_path, text):
    assert problems(tmp_path, text)[0].rule == "must hold keys such as tables: ..."


def test_the_template_is_sound_and_its_comments_too(tmp_path):
    """Commented lines of the template are what a person switches on by removing the sign."""
    (tmp_path / "fleet.yaml").write_text(FLEET_TEMPLATE, encoding="utf-8")
    settings_of(files.read_yaml(tmp_path / "fleet.yaml"), tmp_path)
    keys = ("    # columns", "    # date_order", "    # decimal", "    # missing", "    # values")
    lines = []
    for line in FLEET_TEMPLATE.splitlines():
        if line.startswith((*keys, "    #   ")):
            line = "    " + line[6:]
        elif line.startswith(("# fixes", "# people", "#   ")):
            line = line[2:]
        lines.append(line)
    (tmp_path / "fleet.yaml").write_text("\n".join(lines) + "\n", encoding="utf-8")
    found = settings_of(files.read_yaml(tmp_path / "fleet.yaml"), tmp_path)
    assert found.rules["repairs"].columns == {"unit": "Vehicle No", "date": "Closed on"}
    assert found.fixes["new coolant"].reading["at_least"] == 1.5
    assert found.people.columns == ("inspector",)
