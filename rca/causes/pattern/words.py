"""The evidence of a pattern reading in plain sentences with numbers, intervals and counts."""

from collections.abc import Iterator

from rca.causes.pattern.part_lives import day_text
from rca.causes.pattern.study import Studied

NOT_SHOWN = (
    "as far as {count} failures can show: a lot that fails 6 times as often (a sixth of all lives) "
    "or a depot that fails 4 times as often (a fifth of the units) is mostly read from about 50 "
    "failures on, a few bad units and mixed modes only from about 150"
)


def evidence(studied: Studied) -> Iterator[str]:
    """Shape first, then every place or time, the least likely by chance first."""
    interval = studied.interval
    limits = f"{interval.lower:.2f} to {interval.upper:.2f}, 95 %"
    yield f"shape {studied.shape:.2f} ({limits}) over all lives"
    if studied.alike is not None:
        one = studied.shape_of_a_unit
        yield (
            f"shape {studied.alike.shape:.2f} ({one.lower:.2f} to {one.upper:.2f}) of a unit's own "
            f"hazard, its spread between units as on other parts (variance "
            f"{studied.alike.spread:.2g})"
        )
    told = {
        "lot": _level(studied, "lot", "lives"),
        "depot": _level(studied, "depot", "units"),
        "burst": _burst(studied),
        "units": _units(studied),
        "mixed": "two hazards, one falling and one rising with age, against one",
    }
    for name in sorted(studied.p, key=lambda one: studied.p[one]):
        yield f"{told[name]}; p {studied.p[name]:.2g}, weight {studied.weight[name]:.2f}"
    for name in ("lot", "depot"):
        if name not in studied.p:
            yield f"no {name} could be looked at: fewer than two are recorded"
    if studied.later is not None:
        yield str(studied.later)


def not_shown(failures: int) -> str:
    """What so many failures would and would not have shown."""
    return NOT_SHOWN.format(count=failures)


def _level(studied: Studied, name: str, of: str) -> str:
    found = studied.level(name)
    if found is None:
        return f"no {name} with 3 or more failures exceeds its share"
    return (
        f"{name} {found.name}: {found.failures} failures where the level of the other {of} would "
        f"give {found.expected:.3g} (ratio {found.ratio:.2g})"
    )


def _burst(studied: Studied) -> str:
    found = studied.burst
    if found is None:
        return "no span of time stands out"
    text = (
        f"{day_text(found.begin)} to {day_text(found.end)}: {found.failures} failures where the "
        f"ages run would give {found.expected:.3g}"
    )
    season, p = studied.season, studied.season_p
    if season is None or p is None:
        return text + " (whether it is a season cannot be told: under two years of records)"
    wave = f"busiest about {day_text(season.busiest)[5:]}, {season.ratio:.2g} times the calmest"
    verdict = "fits better" if studied.is_season else "fits worse"
    return text + f" (a yearly season {verdict}: {wave}, p {p:.2g})"


def _units(studied: Studied) -> str:
    count, failures, chance = studied.worst
    return (
        f"the worst tenth of the units ({count}) had {failures} failures where chance alone "
        f"would give about {chance:.3g}; spread between units beyond the ordinary"
    )
