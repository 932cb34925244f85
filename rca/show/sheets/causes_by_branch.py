"""Causes by branch of the cause-effect diagram, in words: text alternative and sheets."""

from collections.abc import Mapping

from rca.causes.case.entries import NOT_CAUGHT, PROBLEM, Link
from rca.causes.case.investigation import Investigation
from rca.causes.case.support import LinkSupport, Support

NO_BRANCH = "no branch stated"


def causes_by_branch(case: Investigation) -> dict[str, list[str]]:
    """Causes of the problem and of its not being caught, by branch.

    A cause stands after the one of the same branch that it leads to.
    """
    used = dict.fromkeys((*case.below(PROBLEM), *case.below(NOT_CAUGHT)))
    held: dict[str, list[str]] = {name: [] for name in (*case.branches, NO_BRANCH)}
    for name in used:
        names = held[case.causes[name].branch or NO_BRANCH]
        parents = [place for place, one in enumerate(names) if leads(case, name, one)]
        names.insert(parents[-1] + 1 if parents else len(names), name)
    return {branch: names for branch, names in held.items() if names}


def diagram_text(case: Investigation, *, support: Mapping[Link, LinkSupport] | None = None) -> str:
    """Give the diagram as text: each branch with its causes and their states."""
    lines = [f"Cause-effect diagram of: {case.problem.statement}"]
    for branch, names in causes_by_branch(case).items():
        lines.append(f"{branch}:")
        for name in names:
            state = state_of(name, support or {})
            said = f" ({state})" if state is not None else ""
            lines.append(f"- {says_of(case, name)} [{case.causes[name].layer}]{said}")
    return "\n".join(lines)


def state_of(cause: str, support: Mapping[Link, LinkSupport]) -> Support | None:
    """State of a cause over all its links: the best one; None where nothing is judged."""
    states = {one.state for link, one in support.items() if link.cause == cause}
    best_first = (
        Support.SUPPORTED, Support.NOT_CHECKED, Support.UNSUPPORTED, Support.CONTRADICTED
    )  # fmt: skip
    return next((state for state in best_first if state in states), None)


def leads(case: Investigation, cause: str, effect: str) -> bool:
    """Whether a cause leads straight to another."""
    gate = case.causes[effect].because
    return gate is not None and cause in gate.causes()


def says_of(case: Investigation, name: str) -> str:
    """Sentence of a cause; marked where it only tells why nothing was noticed."""
    escape = name not in case.below(PROBLEM)
    return f"{case.says(name)}{' (not caught)' if escape else ''}"


def branch_rows(
    case: Investigation, *, support: Mapping[Link, LinkSupport]
) -> list[tuple[str, list[tuple[str, str]]]]:
    """Every branch with its causes in words and their state; a branch without any has none."""
    held = causes_by_branch(case)
    names = [*case.branches, *(name for name in held if name not in case.branches)]
    return [
        (
            name,
            [(says_of(case, one), str(state_of(one, support) or "")) for one in held.get(name, [])],
        )
        for name in names
    ]
