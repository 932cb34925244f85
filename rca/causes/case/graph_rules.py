"""Rules of the graph of causes: how gates are written, no way round in a circle, not too large."""

from collections.abc import Iterator, Mapping
from graphlib import CycleError, TopologicalSorter
from typing import Any

from rca.causes.case.investigation import Investigation
from rca.records.schema import Fault, Keys

DEEPEST_GATE = 20  # blocks of any / all inside one another
MOST_CAUSES, LONGEST_CHAIN = 300, 40


def gate_faults(plain: Mapping[str, Any]) -> list[Fault]:
    """Faults in how `because` is written: exactly one of any, all, or at_least with of."""
    starts: list[tuple[Keys, Any]] = [
        (("problem", key), plain["problem"].get(key)) for key in ("because", "not_caught_because")
    ]
    for name, cause in plain.get("causes", {}).items():
        starts.append((("causes", name, "because"), cause.get("because")))
    return [fault for keys, gate in starts for fault in _one_gate(keys, gate)]


def _one_gate(keys: Keys, gate: Any, *, depth: int = 1) -> Iterator[Fault]:
    if not isinstance(gate, Mapping):
        return
    if depth > DEEPEST_GATE:
        rule = f"has more than {DEEPEST_GATE} blocks inside one another"
        yield Fault(keys, "", rule, "give what belongs together a cause of its own")
        return
    words = set(gate)
    if words not in ({"any"}, {"all"}, {"at_least", "of"}):
        found = ", ".join(sorted(words))
        rule = "must have exactly one of: any, all, or at_least together with of"
        yield Fault(keys, found, rule, "nest a second block inside the list where both are meant")
        return
    inputs = gate[next(iter(words - {"at_least"}))]
    if gate.get("at_least", 0) > len(inputs):
        rule = f"must not ask for more than the {len(inputs)} listed under 'of'"
        yield Fault((*keys, "at_least"), str(gate["at_least"]), rule)
    for one in inputs:
        yield from _one_gate(keys, one, depth=depth + 1)


def loops(case: Investigation) -> Iterator[Fault]:
    """A cause that leads back to itself, told as a person would."""
    gates = ((name, cause.because) for name, cause in case.causes.items())
    graph = {name: list(gate.causes()) if gate else [] for name, gate in gates}
    try:
        TopologicalSorter(graph).prepare()
    except CycleError as error:
        loop = " because ".join(reversed(error.args[1]))
        rule = "causes must not lead back to themselves"
        step = "a vicious circle is told by two causes: what started it, and what kept it going"
        yield Fault(("causes", error.args[1][-1], "because"), loop, rule, step)


def too_large(case: Investigation) -> Iterator[Fault]:
    """More than anybody can weigh on a bench, or follow on a page."""
    step = "split it: one investigation for each failure mode or part"
    if len(case.causes) > MOST_CAUSES:
        yield Fault(("causes",), str(len(case.causes)), f"has more than {MOST_CAUSES} causes", step)
        return
    gates = {name: cause.because for name, cause in case.causes.items()}
    graph = {name: set(gate.causes()) if gate else set() for name, gate in gates.items()}
    length: dict[str, int] = {}
    for name in TopologicalSorter(graph).static_order():
        length[name] = 1 + max((length[one] for one in graph[name]), default=0)
        if length[name] > LONGEST_CHAIN:
            rule = f"begins a chain of more than {LONGEST_CHAIN} causes"
            yield Fault(("causes", name), name, rule, step)
            return
