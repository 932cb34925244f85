"""Checks of YAML against a schema: file, line, place, value, rule and the nearest right word."""

import jsonschema
import pytest

from rca.records import files
from rca.records.schema import did_you_mean, nearest, schema_problems

SCHEMA = {
    "type": "object",
    "additionalProperties": False,
    "required": ["unit"],
    "properties": {
        "unit": {"enum": ["km", "miles"]},
        "name": {"type": "string", "minLength": 1},
        "day": {"type": "string", "pattern": "^\\d{4}-\\d{2}-\\d{2}$"},
        "ratio": {"type": "number", "exclusiveMinimum": 0, "maximum": 1},
        "words": {"type": "array", "minItems": 2, "items": {"type": "string"}},
        "table": {
            "oneOf": [
                {"type": "string", "minLength": 1},
                {
                    "type": "object",
                    "additionalProperties": False,
                    "properties": {"file": {"type": "string"}, "query": {"type": "string"}},
                    "oneOf": [{"required": ["file"]}, {"required": ["query"]}],
                },
            ]
        },
    },
}


def problems(tmp_path, text):
    (tmp_path / "t.yaml").write_text(text, encoding="utf-8")
    return schema_problems(files.read_yaml(tmp_path / "t.yaml"), SCHEMA, file="t.yaml")


def test_the_schema_of_this_test_is_a_schema():
    jsonschema.Draft202012Validator.check_schema(SCHEMA)


def test_what_fits_has_no_problems(tmp_path):
    assert problems(tmp_path, "unit: km\nratio: 1\ntable: {query: q}\nwords: [a, b]\n") == []


@pytest.mark.parametrize(
    ("text", "line", "column", "value", "rule", "step"),
    [
        ("unit: km\nnmae: x\n", 2, "nmae", "", "is not a known key", "did you mean 'name'?"),
        ("unit: mile\n", 1, "unit", "mile", "is not one of the allowed words", "'miles'"),
        ("units: km\n", 1, "units", "", "is not a known key", "'unit'"),
        ("unit: km\nname: 5\n", 2, "name", "5", "must be text", "put it in quotes"),
        ("unit: km\nname: ''\n", 2, "name", "", "must not be empty", ""),
        ("unit: km\nday: 1.2.24\n", 2, "day", "1.2.24", "a date written YYYY-MM-DD", ""),
        ("unit: km\nratio: 0\n", 2, "ratio", "0", "must be above 0", ""),
        ("unit: km\nratio: 2\n", 2, "ratio", "2", "must be 1 or less", ""),
        ("unit: km\nratio: x\n", 2, "ratio", "x", "must be a number", ""),
        ("unit: km\nwords: [a]\n", 2, "words", "", "needs at least 2 entries", ""),
        ("unit: km\nwords:\n- a\n- 2\n", 4, "words.1", "2", "must be text", "quotes"),
        ("unit: km\ntable:\n", 2, "table", "", "must be text or a block of", ""),
        ("unit: km\ntable: {}\n", 2, "table.file", "", "the key 'file' is missing", ""),
        ("unit: km\ntable:\n  fil: x\n", 3, "table.fil", "", "is not a known key", "'file'"),
        ("unit: km\ntable: {file: a, query: b}\n", 2, "table", "", "only one may be said", ""),
    ],
)  # fmt: skip
def test_each_rule_is_told_with_its_place(tmp_path, text, line, column, value, rule, step):
    found = problems(tmp_path, text)[0]
    assert (found.file, found.line, found.column, found.value) == ("t.yaml", line, column, value)
    assert rule in found.rule
    assert step in found.next_step


def test_a_misspelt_key_is_one_problem_though_the_right_one_is_missing(tmp_path):
    (found,) = problems(tmp_path, "units: km\n")
    assert "did you mean 'unit'?" in found.next_step


def test_a_missing_key_is_told_at_the_nearest_line_above_it(tmp_path):
    (found,) = problems(tmp_path, "name: x\n")
    assert (found.column, found.line) == ("unit", 1)
    assert found.rule == "the key 'unit' is missing or blank"


def test_an_entry_under_the_wrong_heading_is_one_problem(tmp_path):
    """Not one for each of its keys."""
    (found,) = problems(tmp_path, "unit: km\none: 1\ntwo: 2\nthree: 3\nfour: 4\n")
    assert found.rule == "holds keys that are not known here: one, two, three, four"
    assert "right heading" in found.next_step


def test_problems_come_in_the_order_of_the_lines(tmp_path):
    found = problems(tmp_path, "name: 1\nday: soon\nunit: inch\nratio: 7\n")
    assert [one.line for one in found] == [1, 2, 3, 4]


def test_all_problems_are_told_at_once(tmp_path):
    assert len(problems(tmp_path, "unit: x\nratio: -1\nname: 1\nb: 2\n")) == 4


def test_nearest_words_do_not_depend_on_case():
    assert nearest("REASN", ["reason", "action"]) == "reason"
    assert nearest("zzz", ["reason"]) == ""
    assert nearest("metre", ["meter"], likeness=0.9) == ""
    assert did_you_mean(";;", [",", ";"]) == "did you mean ';'? Allowed: ',', ';'"
