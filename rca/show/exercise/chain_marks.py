"""What the investigation file earns: evidence, branches, upstream, no blame, problem statement.

The file is read and judged by the kit's own reader and reviewer. Evidence counts as measured or
recorded only where it cites a clue that was bought and that does not say the opposite, or is a
claim that the records bear out; what is only said to have been measured counts as told.
"""

import re
from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace

from rca.causes.case.assessment import Assessment, assess
from rca.causes.case.entries import NOT_CAUGHT, PROBLEM, Layer, Link
from rca.causes.case.investigation import Investigation
from rca.causes.case.observations import Evidence, EvidenceKind
from rca.causes.case.parsing import parse_investigation
from rca.causes.case.review import BLAME_WORDS, CAUSE_WORDS
from rca.causes.case.support import Support
from rca.errors import RcaError
from rca.records import files
from rca.records.fleet import Fleet
from rca.show.exercise.evidence_file import SOURCE
from rca.show.exercise.facts import Facts
from rca.show.exercise.menu import CARE
from rca.show.exercise.score import Score
from rca.show.exercise.suspicion import ERRORS

FEWEST_LINKS = 3
MOST_CAUSES = 60
BLANK = Score(0.0, ("there is no investigation that can be read",))
BY_BRANCHES = {0: 0.0, 1: 0.0, 2: 0.4, 3: 0.8}


@dataclass(frozen=True, slots=True, eq=False)
class Chain:
    """A student's investigation as it is judged; None where it cannot be read, with the fault."""

    assessed: Assessment | None
    fault: str = ""
    not_bought: tuple[str, ...] = ()
    says_otherwise: tuple[str, ...] = ()

    @property
    def case(self) -> Investigation | None:
        """The investigation itself."""
        return self.assessed.case if self.assessed is not None else None


def read_chain(
    text: str, *, facts: Facts, outcomes: Mapping[str, str], fleet: Fleet | None = None
) -> Chain:
    """Read and judge an investigation; never raises for what a student wrote.

    Parameters
    ----------
    outcomes
        What each clue of the case says, from the answer key.
    fleet
        The student's records, for claims; without them claims are not checked.
    """
    if not text.strip():
        return Chain(None, "there is no investigation file")
    try:
        case = parse_investigation(files.yaml_of(text, file="investigation"), file="investigation")
        if len(case.causes) > MOST_CAUSES:
            return Chain(None, f"it has {len(case.causes)} causes, {MOST_CAUSES} are the most")
        case, missing, otherwise = _as_found(case, facts.bought, outcomes)
        return Chain(assess(case, fleet=fleet), "", missing, otherwise)
    except RcaError as error:
        return Chain(None, error.message.splitlines()[0][:300])
    except (
        RecursionError,
        ValueError,
        ArithmeticError,
        TypeError,
        KeyError,
        AttributeError,
    ) as error:
        return Chain(None, f"cannot be judged ({type(error).__name__})")


def _as_found(
    case: Investigation, bought: Collection[str], outcomes: Mapping[str, str]
) -> tuple[Investigation, tuple[str, ...], tuple[str, ...]]:
    """Take what rests on no clue that was bought and on no record for told; name such clues."""
    missing: list[str] = []
    otherwise: list[str] = []
    evidence: dict[str, Evidence] = {}
    for name, one in case.evidence.items():
        cited = _cited(one)
        sound = cited in bought and not _says_otherwise(cited, one, outcomes)
        if sound or one.claim is not None or one.record:
            evidence[name] = one
        else:
            if cited:
                (otherwise if cited in bought else missing).append(cited)
            evidence[name] = replace(
                one, kind=EvidenceKind.TOLD, measurement="", proves="", test="", result="",
                survey=None,
            )  # fmt: skip
    found = replace(case, evidence=evidence)
    return found, tuple(dict.fromkeys(missing)), tuple(dict.fromkeys(otherwise))


def _says_otherwise(clue: str, one: Evidence, outcomes: Mapping[str, str]) -> bool:
    """Whether a clue on a suspect is cited for it although the readings clear it."""
    group, _, suspect = clue.partition("-")
    return group in ERRORS and suspect in one.supports and outcomes.get(clue) == "pass"


def _cited(one: Evidence) -> str:
    """Clue that a piece of evidence cites; "" where it cites none."""
    return one.source[len(SOURCE) :].strip() if one.source.startswith(SOURCE) else ""


def problem_score(chain: Chain, facts: Facts) -> Score:
    """Problem stated with a number and no cause in it, and where it is not seen."""
    said = facts.text("problem")
    if not said and chain.case is not None:
        statement = chain.case.problem.statement
        said = "" if statement.startswith("(") else statement
    spared = facts.text("is_not") or _is_not(chain)
    because = []
    share = 0.0
    if said:
        share += 0.2
        number = bool(re.search(r"\d", said))
        clean = not CAUSE_WORDS.search(said)
        share += 0.3 * number + 0.2 * clean
        because.append("stated with a number" if number else "stated without a number")
        because.append("no cause in it" if clean else "it names a cause already")
    else:
        because.append("not stated")
    if len(spared) >= 10:
        share += 0.3
        because.append("it says where it is not seen")
    else:
        because.append("nothing says where it is not seen")
    texts = (("problem", said), ("where it is not seen", spared))
    return Score(share, tuple(because), tuple(one for one in texts if one[1]))


def _is_not(chain: Chain) -> str:
    if chain.case is None:
        return ""
    return "; ".join(is_not for _, is_not in chain.case.problem.is_is_not.values() if is_not)


def evidence_score(chain: Chain, named: str) -> Score:
    """Share of the links on the chain of the named cause that rest on sound evidence."""
    if chain.assessed is None:
        return Score(0.0, (chain.fault,))
    links = _links_of(chain.assessed, named)
    if not links:
        return Score(0.0, ("no link leads to the problem",))
    held = [one for one in links if chain.assessed.support[one].state is Support.SUPPORTED]
    share = len(held) / max(len(links), FEWEST_LINKS)
    because = [f"{len(held)} of {len(links)} links on the chain rest on measured or recorded facts"]
    if len(links) < FEWEST_LINKS:
        because.append(f"a chain has at least {FEWEST_LINKS} links, from the problem to what lies "
                       "behind the cause")  # fmt: skip
    if chain.not_bought:
        because.append(f"cited, but never bought: {', '.join(chain.not_bought)[:200]}")
    if chain.says_otherwise:
        because.append(f"cited for what it does not show: {', '.join(chain.says_otherwise)[:200]}")
    return Score(share, tuple(because))


def _links_of(assessed: Assessment, named: str) -> list[Link]:
    """Links above and below the named cause; all links where it is not in the file."""
    case = assessed.case
    links = [link for link in assessed.support if link.effect != NOT_CAUGHT]
    if named not in case.causes:
        return links
    above = {name for name in case.causes if named in case.below(name)}
    whole = {named, *above, *case.below(named)}
    return [one for one in links if one.cause in whole and one.effect in whole | {PROBLEM}]


def branches_score(chain: Chain) -> Score:
    """Rival causes on different branches."""
    if chain.case is None:
        return Score(0.0, (chain.fault,))
    below = chain.case.below(PROBLEM)
    count = len({chain.case.causes[name].branch for name in below} - {""})
    return Score(BY_BRANCHES.get(count, 1.0), (f"causes on {count} branches were considered",))


def upstream_score(chain: Chain, candidates: Collection[str]) -> Score:
    """The chain goes upstream of the part on evidence, and to what made that normal."""
    if chain.assessed is None:
        return Score(0.0, (chain.fault,))
    case, because, share = chain.assessed.case, [], 0.0
    below = case.below(PROBLEM)
    upstream = [
        name for name in below
        if case.causes[name].layer is Layer.UPSTREAM or name in candidates
    ]  # fmt: skip
    if upstream:
        share += 0.3
        because.append("the chain goes upstream of the part")
    else:
        because.append("no cause lies upstream of the part")
    if any(_supported(chain.assessed, name) for name in upstream):
        share += 0.3
        because.append("with evidence for it")
    behind = [
        name for one in upstream for name in (*case.below(one), one)
        if case.causes[name].layer is Layer.ORGANISATIONAL and case.causes[name].because is None
    ]  # fmt: skip
    if any(case.causes[name].stop or name not in upstream for name in behind):
        share += 0.4
        because.append("and on to what made it normal in the organisation")
    else:
        because.append("what made it normal in the organisation is not said")
    return Score(share, tuple(because))


def _supported(assessed: Assessment, name: str) -> bool:
    return any(
        one.state is Support.SUPPORTED for link, one in assessed.support.items()
        if link.cause == name
    )  # fmt: skip


def blame_score(chain: Chain, facts: Facts) -> Score:
    """The chain does not end at a person, nor the repair at a warning."""
    if chain.case is None:
        return Score(0.0, (chain.fault,))
    case = chain.case
    below = dict.fromkeys((*case.below(PROBLEM), *case.below(NOT_CAUGHT)))
    if not below:
        return Score(0.0, ("there is no chain",))
    persons = [name for name in below if case.causes[name].because is None
               and case.causes[name].layer is Layer.PROCEDURAL]  # fmt: skip
    blamed = [name for name in below if BLAME_WORDS.search(case.causes[name].says)]
    if persons or blamed:
        where = ", ".join(dict.fromkeys((*blamed, *persons)))[:200]
        return Score(0.0, (f"it ends at a person: {where}",))
    if any(one.repair == CARE for one in facts.repairs):
        return Score(
            0.4, ("the chain blames nobody, but a repair was to tell people to take care",)
        )
    return Score(1.0, ("the chain blames nobody",))
