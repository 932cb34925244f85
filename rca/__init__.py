"""Root-cause workbooks for fleet repair records.

The public names. Data flows one way: records (IN) -> life (HOW) -> causes (WHY) -> show (OUT);
what draws is imported from `rca.show`, so that `import rca` stays light.
"""

from rca.causes.findings import Findings, find, open_findings
from rca.causes.summary import summary
from rca.errors import NoAnswer, NoFit, Problem, RcaError, Refused
from rca.life.nonparametric import kaplan_meier, nelson_aalen
from rca.life.recurrence import Histories, mean_cumulative
from rca.life.sample import Interval, Lives
from rca.life.weibull import WeibullFit, fit_weibull
from rca.records.fleet import Fleet, read_fleet
from rca.records.lives import LifeTable, build_lives

__all__ = [
    "Findings",
    "Fleet",
    "Histories",
    "Interval",
    "LifeTable",
    "Lives",
    "NoAnswer",
    "NoFit",
    "Problem",
    "RcaError",
    "Refused",
    "WeibullFit",
    "build_lives",
    "find",
    "fit_weibull",
    "kaplan_meier",
    "mean_cumulative",
    "nelson_aalen",
    "open_findings",
    "read_fleet",
    "summary",
]
