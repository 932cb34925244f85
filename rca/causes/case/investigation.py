"""A cause investigation: one graph of causes with evidence, read in several ways.

Pure structure: nothing here opens a file, computes with records or draws.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from graphlib import TopologicalSorter

from rca.causes.case.entries import (
    BRANCHES,
    NOT_CAUGHT,
    PROBLEM,
    Cause,
    Conclusion,
    Costs,
    Fix,
    Gate,
    Layer,
    Link,
    Problem,
)
from rca.causes.case.observations import Evidence, Measurement, ProposedTest
from rca.causes.case.support import LinkSupport
from rca.causes.fix.cause_reading import GUARD_FACTOR


@dataclass(frozen=True, slots=True)
class Investigation:
    """Problem, causes, evidence, tests and fixes of one investigation file.

    Causes, measurements, evidence, tests and fixes are kept by id, in the order of the file.
    Made by `rca.causes.case.parsing.parse_investigation`, which refuses loops and dangling names.
    """

    id: str
    problem: Problem
    title: str = ""
    purpose: str = ""
    unit: str = ""
    part: str = ""
    mode: str = ""
    opened: str = ""
    currency: str = ""
    branches: tuple[str, ...] = BRANCHES
    guard_factor: float = GUARD_FACTOR
    something_else: float | None = None
    causes: Mapping[str, Cause] = field(default_factory=dict)
    measurements: Mapping[str, Measurement] = field(default_factory=dict)
    evidence: Mapping[str, Evidence] = field(default_factory=dict)
    tests: Mapping[str, ProposedTest] = field(default_factory=dict)
    fixes: Mapping[str, Fix] = field(default_factory=dict)
    conclusion: Conclusion | None = None
    costs: Costs | None = None
    file: str = field(default="", compare=False)

    def because(self, effect: str) -> Gate | None:
        """What leads to an effect: a cause's id, `PROBLEM` or `NOT_CAUGHT`; None at an end."""
        if effect == PROBLEM:
            return self.problem.because
        if effect == NOT_CAUGHT:
            return self.problem.not_caught_because
        return self.causes[effect].because

    def says(self, effect: str) -> str:
        """Sentence of a cause, or of one of the two effects that start a chain."""
        if effect == PROBLEM:
            return self.problem.statement
        return "It was not caught earlier" if effect == NOT_CAUGHT else self.causes[effect].says

    def below(self, effect: str) -> tuple[str, ...]:
        """Every cause that can lead to `effect`, nearest first, each once."""
        found: dict[str, None] = {}
        waiting = [effect]
        while waiting:
            gate = self.because(waiting.pop(0))
            fresh = [name for name in gate.causes() if name not in found] if gate else []
            found.update(dict.fromkeys(fresh))
            waiting.extend(dict.fromkeys(fresh))
        return tuple(found)

    def links(self, effect: str = "") -> tuple[Link, ...]:
        """Every link under `effect`, or of the whole investigation; each once."""
        starts = (effect,) if effect else (PROBLEM, NOT_CAUGHT)
        effects = dict.fromkeys(name for start in starts for name in (start, *self.below(start)))
        gates = ((name, self.because(name)) for name in effects)
        return tuple(
            dict.fromkeys(
                Link(cause, name) for name, gate in gates if gate for cause in gate.causes()
            )
        )

    def ends(self, effect: str = PROBLEM) -> tuple[str, ...]:
        """Causes under `effect` at which a chain stops."""
        return tuple(name for name in self.below(effect) if self.causes[name].because is None)

    def upstream(self) -> tuple[str, ...]:
        """Causes of the problem that lie upstream of the part, nearest first."""
        return tuple(n for n in self.below(PROBLEM) if self.causes[n].layer is Layer.UPSTREAM)

    def implied(self, given: frozenset[str]) -> frozenset[str]:
        """All causes that are present when exactly the end causes `given` are."""
        true = set(given)
        for name in self._from_the_ends():
            gate = self.causes[name].because
            if gate is not None and gate.holds(true):
                true.add(name)
        return frozenset(true)

    def _from_the_ends(self) -> tuple[str, ...]:
        """Order the causes so that each comes after all that lead to it."""
        gates = ((name, cause.because) for name, cause in self.causes.items())
        before = {name: list(gate.causes()) if gate else [] for name, gate in gates}
        return tuple(TopologicalSorter(before).static_order())

    def why_chain_text(self, support: Mapping[Link, LinkSupport] | None = None) -> str:
        """The why-chain as numbered text, with its "therefore" reading.

        `support` comes from `rca.causes.case.evidence.link_support`; without it no link is judged.
        """
        from rca.causes.case.why_chain import why_chain_text

        return why_chain_text(self, support=support or {})

    def __str__(self) -> str:
        return (
            f"Investigation {self.id}: {len(self.causes)} causes, {len(self.links())} links, "
            f"{len(self.evidence)} pieces of evidence, {len(self.measurements)} measurements, "
            f"{len(self.tests)} tests, {len(self.fixes)} fixes"
        )
