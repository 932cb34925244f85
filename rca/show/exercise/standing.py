"""Where the work on a case stands, read from the steps of its log and from nothing else."""

from collections.abc import Mapping, Sequence
from typing import Any

from rca.show.exercise import later_records, log
from rca.show.exercise.case_file import CaseFile
from rca.show.exercise.shown import Stage

TURNS = {
    "repair": Stage.JUDGING,
    "verdict": Stage.DECIDING,
    "go on": Stage.LOOKING,
    "finish": Stage.FINISHED,
}
"""Steps after which another stage begins."""


class Standing:
    """A case and the steps taken on it so far; `case` is what the student was told."""

    def __init__(self, case: CaseFile, steps: Sequence[log.Step]) -> None:
        self.case = case
        self._steps = list(steps)

    @property
    def steps(self) -> tuple[log.Step, ...]:
        """Every step so far, oldest first."""
        return tuple(self._steps)

    @property
    def stage(self) -> Stage:
        """What can be done now; see the module's text."""
        stage = Stage.LOOKING
        for step in self._steps:
            stage = TURNS.get(step.does, stage)
        return stage

    @property
    def round(self) -> int:
        """Number of the round, from 1; each repair after the first begins a new one."""
        return 1 + sum(step.does == "go on" for step in self._steps)

    @property
    def today(self) -> str:
        """Day on the calendar of the case: the cut-off, or later after repairs that ran on."""
        repairs = sum(step.does == "repair" for step in self._steps)
        return later_records.day_after_rounds(self.case, repairs).isoformat()

    @property
    def bought(self) -> tuple[str, ...]:
        """Ids of the clues bought, in order."""
        return tuple(step.details["clue"] for step in self._steps if step.does == "buy")

    @property
    def spent(self) -> int:
        """Money spent on clues."""
        return sum(self.case.clue(one).price for one in self.bought)

    @property
    def left(self) -> int:
        """Money of the budget that is left for clues."""
        return self.case.budget - self.spent

    @property
    def repairs_cost(self) -> int:
        """What the repairs chosen so far cost the workshops; not taken from the budget."""
        return sum(self.case.repair(one).cost for one in self.repairs_made)

    @property
    def repairs_made(self) -> tuple[str, ...]:
        """Ids of the repairs chosen, one for each round so far."""
        return tuple(step.details["repair"] for step in self._steps if step.does == "repair")

    def answers(self) -> dict[str, Any]:
        """Return the answers as they stand, by question."""
        said = (step.details for step in self._steps if step.does == "answer")
        return {one["question"]: one["value"] for one in said}

    def verdicts(self) -> tuple[Mapping[str, Any], ...]:
        """Return the verdicts given: word, reason, confidence, ratio, round."""
        return tuple(step.details for step in self._steps if step.does == "verdict")

    @property
    def can_go_on(self) -> bool:
        """Whether another round is left after the verdict."""
        return self.stage is Stage.DECIDING and self.round < self.case.rounds

    def __str__(self) -> str:
        money = f"{self.spent} of {self.case.budget} {self.case.currency} spent"
        return (
            f"Case {self.case.code}: {self.stage}, round {self.round} of {self.case.rounds}, "
            f"{len(self.bought)} clues, {money}"
        )
