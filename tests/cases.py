"""Investigations for tests: one rich file, and strategies for any."""

from typing import Any

from hypothesis import strategies as st
from ruamel.yaml import YAML

from rca.causes.investigation import Investigation
from rca.causes.parsing import parse_investigation

RICH = """\
# A note at the head.
investigation: turbo  # its name
title: Turbocharger of one loader
purpose: Find what makes it fail
unit: 17
part: turbocharger
mode: bearing worn
opened: 2026-03-02
currency: EUR
problem:
  # what was seen
  statement: The turbocharger failed 3 times in 14 months
  severity: road call
  first_seen: 2025-01-10
  trigger: third failure
  what: {is: bearing worn, is_not: wheel touched}
  where: {is: unit 17, is_not: four like units}
  when: {is: after hot stops, is_not: cold}
  how_much: {is: 3 times, is_not: growing}
  good_units: four like units
  changes_before: [new oil]
  because: {any: [dry, dirty]}
  not_caught_because: no-gauge
causes:
  dry:
    says: The bearing ran dry
    layer: physical
    branch: part itself
    because: {all: [blocked, hot-stop]}  # both are needed
  blocked:
    says: The oil feed was blocked
    layer: upstream
    branch: upstream supply
    probability: {seen: 3, of: 40}
    also_on_good_units: "no"
    check: {measurement: oil-flow}
    stop: nothing deeper is ours
  hot-stop:
    says: The engine is stopped hot
    layer: human or procedural
    branch: duty and driver use
    because: no-rule
  no-rule:
    says: No rule asks for cooling down
    layer: organisational
    branch: maintenance
    probability: 0.3
    stop: the rule book is ours
  dirty:
    says: The oil carried dirt
    layer: upstream
    branch: upstream supply
    probability: 0.02
    check: {test: oil-sample}
    stop: filter supplier decides
  no-gauge:
    says: Oil pressure is not logged
    layer: organisational
    branch: measurement
    stop: logging can be bought
measurements:
  oil-flow:
    quantity: oil flow at the feed
    unit: l/min
    at_least: 1.2
    limit_source: maker's manual, page 8
    standard_uncertainty: 0.05
    state: hot
    direction: idling
    as_found: {reading: 0.3, date: 2026-03-02, by: fitter}
    after: {reading: 1.6, date: 2026-03-04}
    on_units: {L-08: {reading: 1.5, date: 2026-03-05}}
  coil:
    quantity: resistance of the valve coil
    unit: ohm
    at_least: 20
    at_most: 28
    limit_source: maker's manual, page 9
    accuracy: {percent_of_reading: 0.5, counts: 3, resolution: 0.1}
    range: 200
    as_found: {reading: open circuit}
evidence:
  flow-low:
    kind: measured
    shows: hardly any oil comes
    measurement: oil-flow
    when: as found
    proves: outside limit
    for: [blocked, dry -> problem]
    if_true: {blocked: expected, dirty: unlikely, something else: possible}
  survey:
    kind: observed
    shows: pipes of others were clear
    survey: {failed: {seen: 3, of: 3}, not_failed: {seen: 0, of: 9}}
    date: 2026-03-03
    by: fitter
    for: blocked
  claim:
    kind: recorded
    shows: loaders in the quarry fail more often
    claim: {units: 'duty = "quarry"', times: 2, ratio_above: 1}
    for: hot-stop
  sample:
    kind: measured
    shows: the oil was clean
    test: oil-sample
    result: pass
    against: dirty
    if_true: {dirty: impossible}
  said:
    kind: told
    shows: engines are stopped at once
    date: 2026-03-03
    by: drivers
    for: hot-stop
    if_true: {hot-stop: expected}
tests:
  oil-sample:
    does: Send an oil sample to the laboratory
    cost: 40
    would_show: {dirty: fail, blocked: pass}
    false_pass: 0.1
    false_fail: 0.02
    done: {result: pass, date: 2026-03-04, by: laboratory}
  log:
    does: Log oil temperature at stops for a week
    cost: 90
    would_show: {hot-stop: stops hot, dirty: stops cool, something else: stops cool}
    error_rate: 0.1
fixes:
  larger feed:
    does: Fit a larger feed pipe
    kind: corrective
    cause: blocked
    owner: workshop
    due: 2026-04-01
    reading: oil-flow
    measure: failures against those expected
    review: 2027-04-01
    target_ratio: 0.5
conclusion:
  cause: [blocked, hot-stop]
  confidence: probable
  date: 2026-03-10
costs: {new_part: 1400, restored_part: 600, each_failure: 800}
"""


def yaml_mapping(text: str) -> Any:
    """A YAML text as the round-trip mapping, dates as text."""
    yaml = YAML(typ="rt")
    yaml.preserve_quotes = True
    yaml.Constructor.add_constructor(
        "tag:yaml.org,2002:timestamp", lambda self, node: self.construct_scalar(node)
    )
    return yaml.load(text)


def rich_case() -> Investigation:
    """The rich file, parsed."""
    return parse_investigation(yaml_mapping(RICH), file="turbo.yaml")


def case_of(**parts: Any) -> Investigation:
    """An investigation from parts of a file; the problem and its name are filled in."""
    problem = {"statement": "It failed 3 times", **parts.pop("problem", {})}
    return parse_investigation({"investigation": "case", "problem": problem, **parts})


def causes(**because: Any) -> dict[str, Any]:
    """Physical causes by name, each with its `because` ("" = an end)."""
    return {
        name: {"says": f"Cause {name}", "layer": "physical"} | ({"because": gate} if gate else {})
        for name, gate in because.items()
    }
