"""The causes of a problem as a fault tree: minimal cut sets, top probability, importance.

The tree is turned into a binary decision diagram (Bryant 1986), in which a basic event that
stands in several places is one variable, so that probabilities are exact for independent basic
events however often they repeat. Minimal cut sets are read off the diagram (Rauzy 1993). Both
papers are recalled, not at hand; the tests compare with plain enumeration of all states.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cached_property, reduce

import numpy as np
from numpy.typing import NDArray

from rca.causes.case.entries import PROBLEM, Gate, Seen
from rca.causes.case.investigation import Investigation
from rca.errors import NoAnswer
from rca.life.sample import Interval

Floats = NDArray[np.float64]
CutSet = frozenset[str]
MOST_CUT_SETS = 5000
OFF, ON = 0, 1  # the two end nodes of a diagram


@dataclass(frozen=True, eq=False)
class FaultTree:
    """A top event, the gates below it, and the basic events at its ends.

    Parameters
    ----------
    top
        Gate of the top event. An INHIBIT gate is one that needs `all`: event and condition.
    gates
        Gate of each intermediate event that is named in a gate above.
    probabilities
        Probability of each basic event, or how often it was seen; may be incomplete, then there
        are cut sets but no probabilities.
    """

    top: Gate
    gates: Mapping[str, Gate]
    probabilities: Mapping[str, float | Seen] = field(default_factory=dict)

    @cached_property
    def events(self) -> tuple[str, ...]:
        """Basic events, in the order in which the tree names them."""
        return tuple(self._diagram.order)

    @cached_property
    def minimal_cut_sets(self) -> tuple[CutSet, ...]:
        """Every smallest set of basic events that brings the top event about, smallest first."""
        found = self._diagram.minimal_sets(self._root, {})
        place = {name: number for number, name in enumerate(self.events)}
        return tuple(sorted(found, key=lambda one: (len(one), sorted(place[n] for n in one))))

    @property
    def single_points(self) -> tuple[str, ...]:
        """Basic events that are enough by themselves."""
        return tuple(name for one in self.minimal_cut_sets if len(one) == 1 for name in one)

    @property
    def top_probability(self) -> float:
        """Exact probability of the top event, for independent basic events."""
        return float(self._probability_of(self._root, self._points()))

    @property
    def rare_event_sum(self) -> float:
        """Sum of the cut sets' probabilities: never below the exact one."""
        points = self._points()
        return float(sum(np.prod([points[n] for n in one]) for one in self.minimal_cut_sets))

    def birnbaum(self) -> dict[str, float]:
        """Birnbaum importance: top probability with the event certain minus with it excluded."""
        points = self._points()
        return {
            name: float(
                self._probability_of(self._root, points | {name: np.asarray(1.0)})
                - self._probability_of(self._root, points | {name: np.asarray(0.0)})
            )
            for name in self.events
        }

    def fussell_vesely(self) -> dict[str, float]:
        """Share of the top probability from cut sets that contain the event (NaN if it is 0)."""
        points, top = self._points(), self.top_probability
        shares = {}
        for name in self.events:
            within = [one for one in self.minimal_cut_sets if name in one]
            node = self._diagram.any_of(within)
            share = self._probability_of(node, points)
            shares[name] = float(share) / top if top > 0 else float("nan")
        return shares

    def top_interval(
        self, *, confidence: float = 0.95, draws: int = 20_000, seed: int = 1
    ) -> Interval:
        """Interval of the top probability from events known by counts.

        Events given as seen/of are drawn from their Jeffreys posterior, Beta(seen + 1/2,
        of - seen + 1/2); events given as a number count as known.
        """
        generator = np.random.default_rng(seed)
        points = self._points() | {
            name: generator.beta(one.seen + 0.5, one.of - one.seen + 0.5, draws)
            for name, one in self.probabilities.items()
            if isinstance(one, Seen)
        }
        drawn = np.broadcast_to(self._probability_of(self._root, points), (draws,))
        tail = (1 - confidence) / 2
        lower, upper = np.quantile(drawn, [tail, 1 - tail])
        return Interval(float(lower), float(upper), confidence, "Jeffreys, simulated")

    def __str__(self) -> str:
        return (
            f"fault tree of {len(self.events)} basic events and {len(self.gates)} gates below the "
            f"top, {len(self.minimal_cut_sets)} minimal cut sets, single points: "
            f"{', '.join(self.single_points) or 'none'}"
        )

    def _points(self) -> dict[str, Floats]:
        """Point value of each event's probability."""
        missing = [name for name in self.events if self.probabilities.get(name) is None]
        if missing:
            raise NoAnswer(
                f"no probability is stated for {', '.join(missing)}",
                next_step="state probability: at these ends of the chain",
            )
        return {
            name: np.asarray(one.share if isinstance(one, Seen) else one, dtype=float)
            for name, one in self.probabilities.items()
        }

    def _probability_of(self, node: int, points: Mapping[str, Floats]) -> Floats:
        return self._diagram.probability(node, points, {})

    @cached_property
    def _diagram(self) -> "_Diagram":
        return _Diagram(tuple(_basic_events(self.top, self.gates, {})))

    @cached_property
    def _root(self) -> int:
        return self._diagram.of_gate(self.top, self.gates, {})


def fault_tree(case: Investigation, *, effect: str = PROBLEM) -> FaultTree:
    """Read the causes of an investigation's problem (or of another effect) as a fault tree."""
    top = case.because(effect)
    if top is None:
        raise NoAnswer(f"no cause is stated for {effect}", next_step="add because: to it")
    below = {name: case.causes[name] for name in case.below(effect)}
    gates = {name: cause.because for name, cause in below.items() if cause.because is not None}
    ends = {
        name: cause.probability for name, cause in below.items() if cause.probability is not None
    }
    return FaultTree(top, gates, ends)


def _basic_events(gate: Gate, gates: Mapping[str, Gate], found: dict[str, None]) -> dict[str, None]:
    """Events without a gate of their own, in order of first mention."""
    for one in gate.inputs:
        inner = one if isinstance(one, Gate) else gates.get(one)
        if inner is not None:
            _basic_events(inner, gates, found)
        else:
            found[str(one)] = None
    return found


class _Diagram:
    """Reduced ordered binary decision diagram; nodes are numbers, 0 and 1 the ends."""

    def __init__(self, order: tuple[str, ...]) -> None:
        self.order = order
        self.level = {name: number for number, name in enumerate(order)}
        self.nodes: list[tuple[int, int, int]] = [(len(order), OFF, OFF), (len(order), ON, ON)]
        self.known: dict[tuple[int, int, int], int] = {}
        self.chosen: dict[tuple[int, int, int], int] = {}

    def node(self, level: int, low: int, high: int) -> int:
        """The one node that branches at `level` to `low` (event absent) and `high` (present)."""
        if low == high:
            return low
        key = (level, low, high)
        if key not in self.known:
            self.known[key] = len(self.nodes)
            self.nodes.append(key)
        return self.known[key]

    def event(self, name: str) -> int:
        """The node of one basic event."""
        return self.node(self.level[name], OFF, ON)

    def choose(self, test: int, high: int, low: int) -> int:
        """Give "if test then high else low", Bryant's if-then-else."""
        if test in (OFF, ON):
            return high if test == ON else low
        if high == low:
            return high
        key = (test, high, low)
        if key not in self.chosen:
            level = min(self.nodes[one][0] for one in key)
            lows, highs = zip(*(self._branches(one, level) for one in key), strict=True)
            self.chosen[key] = self.node(level, self.choose(*lows), self.choose(*highs))
        return self.chosen[key]

    def _branches(self, node: int, level: int) -> tuple[int, int]:
        at, low, high = self.nodes[node]
        return (low, high) if at == level else (node, node)

    def at_least(self, need: int, inputs: tuple[int, ...]) -> int:
        """The node of "at least `need` of `inputs`"."""
        row = [ON] + [OFF] * need  # row[k]: at least k of the inputs seen so far
        for one in inputs:
            row = [ON] + [self.choose(one, row[k - 1], row[k]) for k in range(1, need + 1)]
        return row[need]

    def of_gate(self, gate: Gate, gates: Mapping[str, Gate], made: dict[str, int]) -> int:
        """The node of a gate; each named intermediate event is built once."""
        inputs = []
        for one in gate.inputs:
            if isinstance(one, Gate):
                inputs.append(self.of_gate(one, gates, made))
                continue
            if one not in made:
                below = gates.get(one)
                made[one] = self.event(one) if below is None else self.of_gate(below, gates, made)
            inputs.append(made[one])
        return self.at_least(gate.need, tuple(inputs))

    def any_of(self, sets: Iterable[CutSet]) -> int:
        """The node of "all events of at least one of the sets"."""
        found = OFF
        for one in sets:
            every = reduce(lambda node, name: self.choose(self.event(name), node, OFF), one, ON)
            found = self.choose(every, ON, found)
        return found

    def probability(
        self, node: int, points: Mapping[str, Floats], known: dict[int, Floats]
    ) -> Floats:
        """Probability that the node's function is true; `points` may be arrays of draws."""
        if node in (OFF, ON):
            return np.asarray(float(node))
        if node not in known:
            level, low, high = self.nodes[node]
            p = points[self.order[level]]
            below = self.probability(low, points, known)
            known[node] = p * self.probability(high, points, known) + (1 - p) * below
        return known[node]

    def minimal_sets(self, node: int, known: dict[int, frozenset[CutSet]]) -> frozenset[CutSet]:
        """Minimal sets of events that make the (coherent) function of the node true."""
        if node in (OFF, ON):
            return frozenset([frozenset[str]()]) if node == ON else frozenset()
        if node not in known:
            level, low, high = self.nodes[node]
            without = self.minimal_sets(low, known)
            with_event = self.minimal_sets(high, known)
            extra = frozenset(
                one | {self.order[level]}
                for one in with_event
                if not any(smaller <= one for smaller in without)
            )
            if len(without) + len(extra) > MOST_CUT_SETS:
                step = "split the tree, or ask for the probability only"
                raise NoAnswer(f"there are more than {MOST_CUT_SETS} cut sets", next_step=step)
            known[node] = without | extra
        return known[node]
