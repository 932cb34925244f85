"""Root-cause workbooks for fleet repair records.

The public names. Data flows one way: records (IN) -> life (HOW) -> causes (WHY) -> show (OUT);
what draws is imported from `rca.show`. Each name is loaded when it is first used, so that
`import rca` and the command line stay light.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from rca.causes.findings import Findings, find, open_findings
    from rca.causes.summary.whole import summary
    from rca.errors import NoAnswer, NoFit, Problem, RcaError, Refused
    from rca.life.nonparametric import kaplan_meier, nelson_aalen
    from rca.life.recurrence import Histories, mean_cumulative
    from rca.life.sample import Interval, Lives
    from rca.life.weibull import WeibullFit, fit_weibull
    from rca.records.fleet import Fleet, read_fleet
    from rca.records.lives import LifeTable, build_lives

_HOMES = {
    "rca.causes.findings": ("Findings", "find", "open_findings"),
    "rca.causes.summary.whole": ("summary",),
    "rca.errors": ("NoAnswer", "NoFit", "Problem", "RcaError", "Refused"),
    "rca.life.nonparametric": ("kaplan_meier", "nelson_aalen"),
    "rca.life.recurrence": ("Histories", "mean_cumulative"),
    "rca.life.sample": ("Interval", "Lives"),
    "rca.life.weibull": ("WeibullFit", "fit_weibull"),
    "rca.records.fleet": ("Fleet", "read_fleet"),
    "rca.records.lives": ("LifeTable", "build_lives"),
}
_HOME_OF = {name: home for home, names in _HOMES.items() for name in names}

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


def __getattr__(name: str) -> Any:
    """Load a public name from its home (PEP 562)."""
    if name not in _HOME_OF:
        raise AttributeError(f"module 'rca' has no attribute {name!r}")
    return getattr(import_module(_HOME_OF[name]), name)


def __dir__() -> list[str]:
    return sorted(__all__)
