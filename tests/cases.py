"""Investigations for tests: one rich file, and strategies for any."""

import tempfile
from pathlib import Path
from typing import Any

from hypothesis import strategies as st

from rca.causes.case.entries import BRANCHES, Layer
from rca.causes.case.investigation import Investigation
from rca.causes.case.observations import EvidenceKind
from rca.causes.case.parsing import parse_investigation
from rca.records.files import read_yaml

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
    """A YAML text as the kit's own reader gives it, comments and lines kept."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder, "case.yaml")
        path.write_text(text, encoding="utf-8")
        return read_yaml(path)


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


# Strategies: any investigation that keeps to the rules. Causes are numbered so that each leads
# only to lower ones, which makes loops impossible.
NAMES = st.text("abcdefghij", min_size=1, max_size=6)
SENTENCES = st.text(
    st.characters(codec="utf-8", exclude_categories=("C", "Z"), exclude_characters="\ufeff"),
    min_size=1,
    max_size=30,
)
DATES = st.dates().map(str).filter(lambda text: text >= "1000")
# Numbers as a person writes them; with 15 digits and an exponent the YAML library may alter one.
SHARES = st.integers(1, 99).map(lambda hundredths: hundredths / 100)


def numbers(low: float, high: float) -> st.SearchStrategy[float]:
    """Numbers with three decimals."""
    return st.integers(int(low * 1000), int(high * 1000)).map(lambda n: n / 1000)


def gates(names: list[str]) -> st.SearchStrategy[Any]:
    """`because` over some of the names: one, any, all, at least so many, or nested."""
    some = st.lists(st.sampled_from(names), min_size=1, max_size=4, unique=True)
    flat = st.one_of(
        st.sampled_from(names),
        st.builds(lambda one: {"any": one}, some),
        st.builds(lambda one: {"all": one}, some),
        some.flatmap(
            lambda one: st.integers(1, len(one)).map(lambda k: {"at_least": k, "of": one})
        ),
    )
    nested = st.lists(flat, min_size=1, max_size=3)
    return st.one_of(flat, nested.map(lambda one: {"all": one}), nested.map(lambda o: {"any": o}))


@st.composite
def graphs(draw: st.DrawFn, *, most: int = 7) -> dict[str, Any]:
    """Causes in a graph without loops, and the problem's gate over them."""
    names = [f"c{number}" for number in range(draw(st.integers(1, most)))]
    held = {}
    for number, name in enumerate(names):
        later = names[number + 1 :]
        body: dict[str, Any] = {
            "says": draw(SENTENCES),
            "layer": str(draw(st.sampled_from(list(Layer)))),
        }
        if later and draw(st.booleans()):
            body["because"] = draw(gates(later))
        held[name] = body
    return {"causes": held, "because": draw(gates(names))}


@st.composite
def files(draw: st.DrawFn) -> dict[str, Any]:
    """The mapping of any investigation file that keeps to the rules."""
    graph = draw(graphs())
    names = list(graph["causes"])
    for body in graph["causes"].values():
        body |= draw(st.fixed_dictionaries({}, optional={
            "branch": st.sampled_from(BRANCHES),
            "stop": SENTENCES,
            "also_on_good_units": st.sampled_from(["yes", "no", "not checked"]),
            "replaced_part": st.booleans(),
            "check": st.one_of(SENTENCES, st.just({"measurement": "m"}), st.just({"test": "t"})),
            "accepted": st.fixed_dictionaries({"by": SENTENCES, "why": SENTENCES}),
        }))  # fmt: skip
        if "because" not in body and draw(st.booleans()):
            counted = st.integers(0, 5).map(lambda seen: {"seen": seen, "of": 5})
            body["probability"] = draw(st.one_of(SHARES, counted))
    reading = st.one_of(numbers(-5, 5), st.lists(numbers(-5, 5), min_size=1, max_size=3),
                        st.sampled_from(["over-range", "no reading"]))  # fmt: skip
    taken = st.fixed_dictionaries({"reading": reading}, optional={"date": DATES, "by": SENTENCES})
    measurement = draw(st.fixed_dictionaries(
        {"quantity": SENTENCES, "unit": st.just("V"), "range": st.just(20.0),
         "at_least": numbers(-3, 0), "limit_source": SENTENCES},
        optional={"at_most": numbers(0.5, 3), "standard_uncertainty": SHARES,
                  "as_found": taken, "after": taken, "state": SENTENCES}))  # fmt: skip
    evidence = {}
    for number in range(draw(st.integers(0, 4))):
        word = st.sampled_from(["expected", "possible", "unlikely", "impossible"])
        evidence[f"e{number}"] = draw(st.fixed_dictionaries(
            {"kind": st.sampled_from([str(kind) for kind in EvidenceKind]), "shows": SENTENCES,
             "for": st.lists(st.sampled_from(names), min_size=1, max_size=3, unique=True)},
            optional={"if_true": st.dictionaries(st.sampled_from([*names, "something else"]), word,
                                                 min_size=1), "date": DATES, "by": SENTENCES,
                      "source": SENTENCES}))  # fmt: skip
    test = draw(st.fixed_dictionaries(
        {"does": SENTENCES, "cost": st.integers(0, 500),
         "would_show": st.dictionaries(st.sampled_from(names), st.sampled_from(["pass", "fail"]),
                                       min_size=1)},
        optional={"false_pass": SHARES, "false_fail": SHARES, "safety_check": st.booleans(),
                  "done": st.fixed_dictionaries({"result": st.sampled_from(["pass", "fail"])})},
    ))  # fmt: skip
    fixes = draw(st.dictionaries(NAMES.map("fix {}".format), st.fixed_dictionaries(
        {"does": SENTENCES, "kind": st.sampled_from(["correction", "containment", "corrective"]),
         "cause": st.sampled_from(names)},
        optional={"owner": SENTENCES, "due": DATES, "review": DATES, "measure": SENTENCES,
                  "target_ratio": SHARES, "reading": st.just("m")}), max_size=3))  # fmt: skip
    problem = {"statement": draw(SENTENCES), "because": graph["because"]}
    whole = {
        "investigation": draw(NAMES), "problem": problem, "causes": graph["causes"],
        "measurements": {"m": measurement}, "tests": {"t": test},
    }  # fmt: skip
    optional = draw(st.fixed_dictionaries({}, optional={
        "title": SENTENCES, "purpose": SENTENCES, "unit": st.one_of(NAMES, st.integers(1, 99)),
        "opened": DATES, "something_else": SHARES,
    }))  # fmt: skip
    held = {"evidence": evidence, "fixes": fixes}
    return whole | optional | {key: value for key, value in held.items() if value}
