"""What can be bought and done in a case: the same list in every kind, prices drawn by case."""

from collections.abc import Iterator

from rca.records.simulate.draws import Draws
from rca.show.exercise.case_file import Candidate, Clue, Group, Repair
from rca.show.exercise.scenario import BRANCH, LAYER, SUSPECTS, Scenario
from rca.show.exercise.setting import Setting

GROUPS = (
    Group("records", "Record queries", "The office counts in the records what you ask for."),
    Group("bench", "Bench readings", "One quantity on the six units that failed last."),
    Group("teardown", "Teardown findings", "Failed parts are opened and described."),
    Group("survey", "Survey of sound units", "The same condition on failed and on sound units."),
    Group("changes", "List of changes", "What was changed before the failures became frequent."),
    Group("demonstration", "On-off-on demonstration",
          "On one unit the condition is put in, taken out and put in again, where that is safe."),
)  # fmt: skip

PRICES = {
    "records": (30, 50), "bench": (60, 110), "teardown one": (40, 60), "teardown six": (150, 210),
    "teardown laboratory": (190, 260), "survey": (100, 150), "changes": (25, 40),
    "demonstration": (280, 380),
}  # fmt: skip
BUDGET = {"easy": 1_500, "middle": 1_250, "hard": 1_050}
CURRENCY = "EUR"

PART_ONLY, CARE = "part-only", "more-care"

CLUE_IDS = (
    "records-before", "records-groups", "records-life",
    *(f"bench-{name}" for name in SUSPECTS),
    "teardown-one", "teardown-six", "teardown-laboratory",
    *(f"survey-{name}" for name in SUSPECTS),
    "changes",
    *(f"demonstration-{name}" for name in SUSPECTS),
)  # fmt: skip
"""Ids of the clues, in the order of the menu: the same in every case."""


def clues_of(place: Scenario, draws: Draws) -> tuple[Clue, ...]:
    """Return every clue of a case, with its price and file."""
    made = list(_clues(place))
    found = []
    for number, (name, group, title, does, sort) in enumerate(made, start=1):
        low, high = PRICES[sort]
        price = 5 * round(float(draws.child(name).uniform(1, low, high)[0]) / 5)
        found.append(Clue(name, group, title, does, price, f"clue_{number:02d}.sealed"))
    return tuple(found)


def _clues(place: Scenario) -> Iterator[tuple[str, str, str, str, str]]:
    part = place.part
    yield (
        "records-before", "records", "What comes before",
        f"Other repairs before and after failures of the {part}, against chance", "records",
    )  # fmt: skip
    yield (
        "records-groups", "records", "Which units and parts",
        f"Failures of the {part} by duty, surroundings, depot and lot", "records",
    )  # fmt: skip
    yield (
        "records-life", "records", "How they fail",
        f"Life curve of the {part}: early, at random or by wear", "records",
    )  # fmt: skip
    for name in SUSPECTS:
        quantity = place.suspects[name].reading.quantity
        yield (
            f"bench-{name}", "bench", quantity[0].upper() + quantity[1:],
            f"Measure the {quantity} on the six units that failed last", "bench",
        )  # fmt: skip
    yield (
        "teardown-one", "teardown", "The last failed part",
        f"Open the {part} that failed last", "teardown one",
    )  # fmt: skip
    yield (
        "teardown-six", "teardown", "Six failed parts drawn at random",
        f"Open six failed parts ({part}) drawn by lot from the last year's", "teardown six",
    )  # fmt: skip
    yield (
        "teardown-laboratory", "teardown", "Laboratory report",
        "Send surfaces, lubricant and hardness samples of six parts to a laboratory",
        "teardown laboratory",
    )  # fmt: skip
    for name in SUSPECTS:
        condition = place.suspects[name].condition
        yield (
            f"survey-{name}", "survey", f"Survey: {condition}",
            f"Look for: {condition}, on twelve units that failed and twelve that did not",
            "survey",
        )  # fmt: skip
    yield (
        "changes", "changes", "List of changes",
        "Ask purchasing, planning and workshops what was changed, when, and how it came about",
        "changes",
    )  # fmt: skip
    for name in SUSPECTS:
        condition = place.suspects[name].condition
        yield (
            f"demonstration-{name}", "demonstration", f"On-off-on: {condition}",
            f"One unit: {condition} put in, taken out, put in again, signs of damage watched",
            "demonstration",
        )  # fmt: skip


def candidates_of(place: Scenario, draws: Draws) -> tuple[Candidate, ...]:
    """Return the candidate causes of a case, in an order drawn for it."""
    order = draws.uniform(len(SUSPECTS)).argsort(kind="stable")
    names = [SUSPECTS[int(number)] for number in order]
    return tuple(
        Candidate(name, place.suspects[name].says, LAYER[name], BRANCH[name]) for name in names
    )


def repairs_of(place: Scenario, draws: Draws) -> tuple[Repair, ...]:
    """Return what can be done about it: one repair for each suspect, and two that touch none."""
    says = {name: place.suspects[name].repair for name in SUSPECTS}
    says[PART_ONLY] = f"Replace each {place.part} that fails, as before"
    says[CARE] = "Remind drivers and fitters in writing to take more care"
    names = list(says)
    order = draws.uniform(len(names)).argsort(kind="stable")
    found = []
    for number, at in enumerate(order, start=1):
        name = names[int(at)]
        cost = {PART_ONLY: 0, CARE: 50}.get(
            name, 100 * round(float(draws.child(name).uniform(1, 8, 24)[0]))
        )
        found.append(Repair(name, says[name], cost, f"repair_{number:02d}.sealed"))
    return tuple(found)


def budget_of(setting: Setting, draws: Draws) -> int:
    """Return the budget of a case, by its level."""
    return BUDGET[setting.level] + 10 * int(draws.child("budget").uniform(1, -5, 6)[0])


def right_repairs(setting: Setting) -> frozenset[str]:
    """Repairs that remove the cause: of two causes needed together either one is enough."""
    return setting.guilty
