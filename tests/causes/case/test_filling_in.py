"""Readings and results written into a file in place, its comments kept."""

import pytest

from rca.causes.case.conformity import Verdict, conformity
from rca.causes.case.filling_in import record_reading, record_result
from rca.causes.case.new_case import new_case_text
from rca.causes.case.parsing import parse_investigation
from rca.errors import RcaError
from rca.records.files import yaml_text
from tests.cases import RICH, yaml_mapping


def test_reading_lands_in_the_file_and_comments_stay() -> None:
    """A new file, one reading: it is judged, and every note of the file is still there."""
    data = yaml_mapping(new_case_text())
    data["measurements"]["supply"] |= {"at_least": 11, "limit_source": "s",
                                       "accuracy": {"fixed": 0.1}}  # fmt: skip
    record_reading(data, "supply", 12.4, date="2026-03-02", by="fitter")
    text = yaml_text(data)
    case = parse_investigation(yaml_mapping(text))
    one = case.measurements["supply"]
    assert one.as_found.date == "2026-03-02"
    assert conformity(one, one.as_found).verdict is Verdict.INSIDE
    notes = [line for line in new_case_text().splitlines() if line.lstrip().startswith("#")]
    assert [line for line in text.splitlines() if line.lstrip().startswith("#")] == notes


def test_several_readings_words_and_units() -> None:
    """A list, a word of the bench, and another unit of the same quantity."""
    data = yaml_mapping(RICH)
    record_reading(data, "coil", [24.1, 24.3], when="after")
    record_reading(data, "coil", "over-range")
    record_reading(data, "oil-flow", 1500.0, when="after", unit="ml/min")
    case = parse_investigation(yaml_mapping(yaml_text(data)))
    assert case.measurements["coil"].after.reading == (24.1, 24.3)
    assert case.measurements["coil"].as_found.reading == "over-range"
    flow = case.measurements["oil-flow"]
    assert conformity(flow, flow.after).value == pytest.approx(1.5)
    assert flow.after.date == "2026-03-04"  # what is not given stays as it was


def test_result_of_a_test_is_written() -> None:
    """The result counts from then on."""
    data = yaml_mapping(RICH)
    record_result(data, "log", "stops hot", date="2026-03-09", by="fitter")
    done = parse_investigation(yaml_mapping(yaml_text(data))).tests["log"].done
    assert (done.result, done.date, done.by) == ("stops hot", "2026-03-09", "fitter")


@pytest.mark.parametrize(
    ("name", "reading", "when", "words"),
    [
        ("oil-flw", 1.0, "as found", "oil-flow"),
        ("coil", "open cirquit", "as found", "open circuit"),
        ("coil", 1.0, "later", "'after'"),
    ],
)
def test_slips_are_told(name: str, reading: float | str, when: str, words: str) -> None:
    """A name, a word or a moment that does not exist, with the one that was meant."""
    data = yaml_mapping(RICH)
    with pytest.raises(RcaError, match=words):
        record_reading(data, name, reading, when=when)
    assert yaml_text(data) == yaml_text(yaml_mapping(RICH))
