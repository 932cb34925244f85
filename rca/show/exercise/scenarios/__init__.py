"""The invented settings of the class exercise."""

from rca.show.exercise.scenario import Scenario
from rca.show.exercise.scenarios.conveyors import CONVEYORS
from rca.show.exercise.scenarios.drainage import DRAINAGE
from rca.show.exercise.scenarios.harvesters import HARVESTERS
from rca.show.exercise.scenarios.rollers import ROLLERS
from rca.show.exercise.scenarios.sewer_cleaning import SEWER_CLEANING

SCENARIOS: dict[str, Scenario] = {
    one.name: one for one in (SEWER_CLEANING, HARVESTERS, ROLLERS, CONVEYORS, DRAINAGE)
}
