"""The why-chain as numbered text, downward by "because" and upward by "therefore"."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import islice

from rca.causes.case.entries import NOT_CAUGHT, PROBLEM, Cause, Gate, Link
from rca.causes.case.investigation import Investigation
from rca.causes.case.support import LinkSupport

SMALL_WORDS = """the a an it its this that these those no nobody nothing there they some all
one two three four five six seven eight nine ten several many most few both each every
on in at after before during within over under between since"""
BEGINNINGS = frozenset(SMALL_WORDS.split())
MOST_READINGS = 30  # a page, not a book: further "therefore" readings are counted, not printed


def why_chain_text(
    investigation: Investigation, *, support: Mapping[Link, LinkSupport] | None = None
) -> str:
    """Write the chain of causes with the state of every link, then read it backwards.

    Parameters
    ----------
    investigation
        The investigation to show.
    support
        State of each link, from `rca.causes.case.evidence.link_support`; links without one are
        shown without a state.
    """
    lines = [f"Problem: {investigation.problem.statement}"]
    lines += _chain_lines(investigation, PROBLEM, support or {})
    if investigation.problem.not_caught_because:
        lines += ["", "Why was it not caught earlier?"]
        lines += _chain_lines(investigation, NOT_CAUGHT, support or {})
    readings = first_readings(investigation, MOST_READINGS)
    if readings:
        lines += ["", "Read backwards:"] + [f"- {reading}" for reading in readings]
    loose = loose_causes(investigation)
    if loose:
        lines += ["", "Not connected to the problem: " + ", ".join(loose)]
    return "\n".join(lines)


def _chain_lines(
    investigation: Investigation, effect: str, support: Mapping[Link, LinkSupport]
) -> list[str]:
    """Lines for all that leads to `effect`, how it acts together first."""
    steps = chain_steps(investigation, effect, support=support)
    if not steps:
        return ["   no cause is stated yet"]
    gate = investigation.because(effect)
    together = gate_sentence(gate) if gate else ""
    return ([f"   {together}"] if together else []) + list(_step_lines(steps))


def loose_causes(investigation: Investigation) -> tuple[str, ...]:
    """Causes that lead neither to the problem nor to its not being caught."""
    used = {*investigation.below(PROBLEM), *investigation.below(NOT_CAUGHT)}
    return tuple(name for name in investigation.causes if name not in used)


@dataclass(frozen=True, slots=True)
class Step:
    """One step of a why-chain: a cause, or (cause None) several that are needed together.

    `because` says how the steps `below` act together; `again` is the number under which the
    same cause was told already, and then there is nothing below.
    """

    number: str
    cause: Cause | None
    support: LinkSupport | None = None
    again: str = ""
    because: str = ""
    below: "tuple[Step, ...]" = ()


def chain_steps(
    investigation: Investigation, effect: str, *, support: Mapping[Link, LinkSupport]
) -> tuple[Step, ...]:
    """Everything that leads to `effect`, as numbered steps; each cause is told once."""
    numbers: dict[str, str] = {}

    def of_cause(name: str, of: str, number: str) -> Step:
        cause, state = investigation.causes[name], support.get(Link(name, of))
        if name in numbers:
            return Step(number, cause, state, again=numbers[name])
        numbers[name] = number
        if cause.because is None:
            return Step(number, cause, state)
        below = of_gate(cause.because, name, f"{number}.")
        return Step(number, cause, state, "", gate_sentence(cause.because), below)

    def of_gate(gate: Gate, of: str, prefix: str) -> tuple[Step, ...]:
        steps = []
        for position, one in enumerate(gate.inputs, start=1):
            number = f"{prefix}{position}"
            if isinstance(one, Gate):
                inner = of_gate(one, of, f"{number}.")
                steps.append(Step(number, None, because=gate_sentence(one), below=inner))
            else:
                steps.append(of_cause(one, of, number))
        return tuple(steps)

    start = investigation.because(effect)
    return of_gate(start, effect, "") if start is not None else ()


def _step_lines(steps: tuple[Step, ...], indent: str = "   ") -> Iterator[str]:
    """Lines of text for steps and all below them."""
    for step in steps:
        if step.cause is None:
            yield f"{indent}{step.number} {step.because}"
        else:
            told = f" (see {step.again})" if step.again else f" [{step.cause.layer}]"
            yield f"{indent}{step.number} {step.cause.says}{told}"
        if step.support is not None:
            yield f"{indent}   {step.support}"
        if step.cause is not None and step.cause.stop and not (step.below or step.again):
            yield f"{indent}   stops here: {step.cause.stop}"
        if step.cause is not None and step.because:
            yield f"{indent}   {step.because}"
        yield from _step_lines(step.below, indent + "   ")


def gate_sentence(gate: Gate) -> str:
    """Say in words how many of the causes below are needed; "" where there is one only."""
    if len(gate.inputs) == 1:
        return ""
    if gate.word == "any":
        return "because of any of these:"
    if gate.word == "all":
        return "because of all of these together:"
    return f"because of at least {gate.need} of these {len(gate.inputs)}:"


def therefore_lines(investigation: Investigation) -> Iterator[str]:
    """Read every chain from its end up to the problem, with "therefore".

    A sentence that jars shows a missing link or a missing condition.
    """
    for root in (PROBLEM, NOT_CAUGHT):
        for path in _paths(investigation, root):
            steps = [_step(investigation, cause, effect) for cause, effect in path]
            steps.append(investigation.says(path[-1].effect))
            yield "; therefore ".join([steps[0], *map(_inside_a_sentence, steps[1:])])


def first_readings(investigation: Investigation, most: int) -> list[str]:
    """The first `most` "therefore" readings, and how many more there are."""
    readings = list(islice(therefore_lines(investigation), most))
    more = count_readings(investigation) - len(readings)
    return [*readings, f"and {more} more"] if more > 0 else readings


def count_readings(investigation: Investigation) -> int:
    """How many chains there are, counted without following each: they can be millions."""
    count: dict[str, int] = {}

    def below(effect: str) -> int:
        if effect not in count:
            gate = investigation.because(effect)
            names = set(gate.causes()) if gate is not None else ()
            count[effect] = sum(map(below, names)) if names else 1
        return count[effect]

    roots = [root for root in (PROBLEM, NOT_CAUGHT) if investigation.because(root) is not None]
    return sum(map(below, roots))


def _inside_a_sentence(text: str) -> str:
    """Begin small where the first word is no name."""
    first = text.partition(" ")[0].casefold()
    return text[:1].lower() + text[1:] if first in BEGINNINGS else text


def _step(investigation: Investigation, cause: str, effect: str) -> str:
    """Sentence of a cause, with those that must be there beside it."""
    gate = investigation.because(effect)
    others = _needed_with(gate, cause) if gate else []
    says = investigation.says(cause)
    if not others:
        return says
    return f"{says} (together with: {'; '.join(map(investigation.says, others))})"


def _needed_with(gate: Gate, cause: str) -> list[str]:
    """Other causes of the same gate, where it needs more than one of them."""
    for one in gate.inputs:
        if isinstance(one, Gate) and cause in one.causes():
            return _needed_with(one, cause)
    return [name for name in gate.causes() if name != cause] if gate.need > 1 else []


def _paths(investigation: Investigation, root: str) -> Iterator[tuple[Link, ...]]:
    """Every chain of links from an end to `root`, the end's link first."""
    waiting: list[tuple[str, tuple[Link, ...]]] = [(root, ())]
    while waiting:
        effect, path = waiting.pop()
        gate = investigation.because(effect)
        if gate is None:
            if path:
                yield path
            continue
        steps = [(name, (Link(name, effect), *path)) for name in dict.fromkeys(gate.causes())]
        waiting.extend(reversed(steps))
