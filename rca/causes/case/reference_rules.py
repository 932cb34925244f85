"""What must hold between the entries of an investigation and no schema can say.

Each rule yields faults with the place and what to do; all of them are reported at once.
"""

from collections import Counter
from collections.abc import Iterator, Mapping
from typing import Any

from rca.causes.case.entries import NOT_CAUGHT, PROBLEM, SOMETHING_ELSE, Gate, Link, Seen
from rca.causes.case.graph_rules import loops, too_large
from rca.causes.case.investigation import Investigation
from rca.causes.case.measurement_rules import measurement_faults
from rca.causes.case.observations import Claim, Evidence, EvidenceKind, ProposedTest
from rca.causes.case.outcomes import PASS_FAIL, outcomes_of
from rca.records.schema import Fault, Keys, did_you_mean

KIND_OF_DETAIL = {
    "measurement": (EvidenceKind.MEASURED,),
    "record": (EvidenceKind.RECORDED,),
    "claim": (EvidenceKind.RECORDED,),
    "test": (EvidenceKind.MEASURED, EvidenceKind.OBSERVED),
    "survey": (EvidenceKind.MEASURED, EvidenceKind.RECORDED, EvidenceKind.OBSERVED),
}


def reference_faults(case: Investigation) -> list[Fault]:
    """Every fault between the entries of an investigation, in the order of the file."""
    faults = [*_doubled_ids(case), *_dangling_causes(case)]
    faults = faults or list(loops(case)) or list(too_large(case))
    if faults:
        return faults
    checks = (_ends, _branches, measurement_faults, _evidence, _tests, _checks, _fixes, _conclusion)
    return [fault for check in checks for fault in check(case)]


def _doubled_ids(case: Investigation) -> Iterator[Fault]:
    sections = {
        "causes": case.causes,
        "measurements": case.measurements,
        "evidence": case.evidence,
        "tests": case.tests,
        "fixes": case.fixes,
    }
    count = Counter(name for section in sections.values() for name in section)
    kept = {PROBLEM, NOT_CAUGHT, SOMETHING_ELSE}
    seen = set(kept)
    for section, held in sections.items():
        for name in held:
            if name in seen and (count[name] > 1 or name in kept):
                rule = "this name is already used"
                yield Fault((section, name), name, rule, "give every entry a name of its own")
            seen.add(name)


def _dangling_causes(case: Investigation) -> Iterator[Fault]:
    starts: list[tuple[Keys, Gate | None]] = [
        (("problem", "because"), case.problem.because),
        (("problem", "not_caught_because"), case.problem.not_caught_because),
    ]
    starts += [(("causes", name, "because"), cause.because) for name, cause in case.causes.items()]
    for keys, gate in starts:
        for name in gate.causes() if gate else ():
            yield from _must_be_known(keys, name, case.causes, "cause")


def _must_be_known(keys: Keys, name: str, known: Mapping[str, Any], what: str) -> Iterator[Fault]:
    if name not in known:
        step = did_you_mean(name, list(known)) if known else f"add it under {what}s: first"
        yield Fault(keys, name, f"there is no {what} of this name", step)


def _ends(case: Investigation) -> Iterator[Fault]:
    ends = [name for name, cause in case.causes.items() if cause.because is None]
    for name, cause in case.causes.items():
        for key in ("prior", "probability"):
            if cause.because is not None and getattr(cause, key) is not None:
                rule = "belongs to an end of the chain, and this cause has causes of its own"
                yield Fault(("causes", name, key), "", rule, "move it to the ends below")
        if isinstance(cause.probability, Seen):
            yield from _counted(("causes", name, "probability"), cause.probability)
    stated = [name for name in ends if case.causes[name].prior is not None]
    missing = [name for name in ends if case.causes[name].prior is None]
    if stated and missing:
        rule = "a prior must be stated for every end of the chain or for none"
        step = f"state it for {', '.join(missing)} too"
        yield Fault(("causes", stated[0], "prior"), "", rule, step)


def _counted(keys: Keys, counted: Seen) -> Iterator[Fault]:
    if counted.seen > counted.of:
        rule = f"cannot be seen {counted.seen} times in {counted.of}"
        yield Fault((*keys, "seen"), str(counted.seen), rule)


def _branches(case: Investigation) -> Iterator[Fault]:
    for name, cause in case.causes.items():
        if cause.branch and cause.branch not in case.branches:
            step = did_you_mean(cause.branch, case.branches)
            rule = "is not one of this file's branches"
            yield Fault(("causes", name, "branch"), cause.branch, rule, step)


def _evidence(case: Investigation) -> Iterator[Fault]:
    for name, one in case.evidence.items():
        keys: Keys = ("evidence", name)
        if not (one.supports or one.contradicts or one.if_true):
            step = "say which cause it is for or against, or what is expected if a cause is true"
            yield Fault(keys, "", "must speak for or against something", step)
        yield from _bearing(case, one, keys)
        yield from _detail(case, one, keys)
        yield from _columns_of(case, one.if_true, (*keys, "if_true"))


def _bearing(case: Investigation, one: Evidence, keys: Keys) -> Iterator[Fault]:
    links = [str(link) for link in case.links()]
    for key, names in (("for", one.supports), ("against", one.contradicts)):
        for name in names:
            if "->" in name:
                parts = Link(*(part.strip() for part in name.split("->", 1)))
                if str(parts) not in links:
                    step = did_you_mean(str(parts), links)
                    yield Fault((*keys, key), name, "there is no such link", step)
                elif str(parts) != name:
                    yield Fault((*keys, key), name, f"write the link as '{parts}'")
            else:
                yield from _must_be_known((*keys, key), name, case.causes, "cause")
    both = set(one.supports) & set(one.contradicts)
    if both:
        rule = "cannot be both for and against the same"
        yield Fault((*keys, "against"), ", ".join(sorted(both)), rule)


def _columns_of(case: Investigation, named: Mapping[str, str], keys: Keys) -> Iterator[Fault]:
    for name in named:
        if name != SOMETHING_ELSE and name not in case.causes:
            step = did_you_mean(name, [*case.causes, SOMETHING_ELSE])
            yield Fault((*keys, name), name, "there is no cause of this name", step)


def _detail(case: Investigation, one: Evidence, keys: Keys) -> Iterator[Fault]:
    details = [key for key in KIND_OF_DETAIL if getattr(one, key)]
    if len(details) > 1:
        rule = f"one piece of evidence has one origin, not {' and '.join(details)}"
        yield Fault((*keys, details[-1]), "", rule, "write two pieces of evidence")
        return
    for key in details:
        if one.kind not in KIND_OF_DETAIL[key]:
            words = " or ".join(KIND_OF_DETAIL[key])
            yield Fault((*keys, "kind"), str(one.kind), f"must be {words}, for it has a {key}")
    if one.measurement:
        yield from _must_be_known(
            (*keys, "measurement"), one.measurement, case.measurements, "measurement"
        )
        yield from _proves(case, one, keys)
    elif one.proves:
        yield Fault((*keys, "proves"), one.proves, "belongs to a measurement", "name it")
    if one.test:
        yield from _must_be_known((*keys, "test"), one.test, case.tests, "test")
        if one.test in case.tests:
            yield from _outcome(case.tests[one.test], one.result, (*keys, "result"))
    elif one.result:
        yield Fault((*keys, "result"), one.result, "belongs to a test", "name it under test:")
    if one.claim is not None:
        yield from _claim(case, one.claim, (*keys, "claim"))
    if one.survey is not None:
        yield from _counted((*keys, "survey", "failed"), one.survey.failed)
        yield from _counted((*keys, "survey", "not_failed"), one.survey.not_failed)


def _proves(case: Investigation, one: Evidence, keys: Keys) -> Iterator[Fault]:
    measured = case.measurements.get(one.measurement)
    if measured is None:
        return
    if not one.proves:
        rule = "say what the reading proves: inside limit or outside limit"
        yield Fault((*keys, "proves"), "", rule)
    elif measured.at_least is None and measured.at_most is None:
        rule = "needs a limit, and the measurement has none"
        yield Fault((*keys, "proves"), one.proves, rule, "add at_least or at_most to it")


def _claim(case: Investigation, claim: Claim, keys: Keys) -> Iterator[Fault]:
    if not claim.units and not claim.after_repair:
        yield Fault(keys, "", "a claim needs the units it is about: units: or after_repair:")
    if not claim.part and not case.part:
        rule = "name the part whose failures are counted"
        yield Fault((*keys, "part"), "", rule, "here, or as part: at the head of the file")
    if claim.within_days is not None and not claim.after_repair:
        yield Fault((*keys, "within_days"), str(claim.within_days), "belongs to after_repair")
    if claim.ratio_above is not None and claim.ratio_below is not None:
        yield Fault((*keys, "ratio_below"), "", "state ratio_above or ratio_below, not both")


def _tests(case: Investigation) -> Iterator[Fault]:
    for name, test in case.tests.items():
        keys: Keys = ("tests", name)
        yield from _columns_of(case, test.would_show, (*keys, "would_show"))
        outcomes = set(test.would_show.values())
        if not outcomes <= PASS_FAIL and len(outcomes) < 2:
            rule = "must name at least two outcomes, else it cannot tell causes apart"
            yield Fault((*keys, "would_show"), ", ".join(outcomes), rule)
        yield from _error_rates(test, outcomes, keys)
        if test.done is not None:
            yield from _outcome(test, test.result, (*keys, "done", "result"))


def _error_rates(test: ProposedTest, outcomes: set[str], keys: Keys) -> Iterator[Fault]:
    two_way = outcomes <= PASS_FAIL
    for key in ("false_pass", "false_fail"):
        if not two_way and getattr(test, key) is not None:
            rule = "is for tests whose outcomes are pass and fail"
            yield Fault((*keys, key), f"{getattr(test, key):g}", rule, "use error_rate")
    if two_way and test.error_rate is not None:
        rule = "is for tests with other outcomes than pass and fail"
        step = "use false_pass and false_fail"
        yield Fault((*keys, "error_rate"), f"{test.error_rate:g}", rule, step)


def _outcome(test: ProposedTest, result: str, keys: Keys) -> Iterator[Fault]:
    if result not in outcomes_of(test):
        step = did_you_mean(result, outcomes_of(test))
        yield Fault(keys, result, f"is not an outcome of the test {test.id}", step)


def _checks(case: Investigation) -> Iterator[Fault]:
    for name, cause in case.causes.items():
        keys: Keys = ("causes", name)
        check = cause.check
        if check is not None and check.measurement:
            place = (*keys, "check", "measurement")
            yield from _must_be_known(place, check.measurement, case.measurements, "measurement")
        if check is not None and check.test:
            yield from _must_be_known((*keys, "check", "test"), check.test, case.tests, "test")
        if cause.cleared is not None and (check is None or not check.sentence):
            rule = "is for a check in words; a measurement or a test clears by its own result"
            yield Fault((*keys, "cleared"), "", rule)


def _fixes(case: Investigation) -> Iterator[Fault]:
    for name, fix in case.fixes.items():
        for cause in fix.causes:
            yield from _must_be_known(("fixes", name, "cause"), cause, case.causes, "cause")
        if fix.reading:
            place = ("fixes", name, "reading")
            yield from _must_be_known(place, fix.reading, case.measurements, "measurement")


def _conclusion(case: Investigation) -> Iterator[Fault]:
    for cause in case.conclusion.causes if case.conclusion else ():
        yield from _must_be_known(("conclusion", "cause"), cause, case.causes, "cause")
