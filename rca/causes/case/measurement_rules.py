"""What must hold within a measurement: known units, limits with a source, one uncertainty."""

from collections.abc import Iterator

from rca.causes.case import quantities
from rca.causes.case.investigation import Investigation
from rca.causes.case.observations import Measurement, Taken
from rca.records.schema import Fault, Keys


def measurement_faults(case: Investigation) -> Iterator[Fault]:
    """Every fault of the measurements of an investigation."""
    for name, one in case.measurements.items():
        keys: Keys = ("measurements", name)
        faults = list(_units(one, keys))
        yield from faults or _limits(one, keys)
        yield from _uncertainty(one, keys)
        if not faults:
            yield from _open_circuit(one, keys)


def _units(one: Measurement, keys: Keys) -> Iterator[Fault]:
    stated = [((*keys, "unit"), one.unit), ((*keys, "limit_unit"), one.limit_unit)]
    stated += [((*keys, *place, "unit"), taken.unit) for place, taken in _all_taken(one)]
    for place, unit in stated:
        if not unit and place[-1] != "unit":
            continue
        if (unit or len(place) == 3) and not quantities.known(unit):
            step = "write it as V, mV, ohm, A, kPa, psi, degC, l/min, mm, N*m and the like"
            yield Fault(place, unit, "is not a known unit of measure", step)
        elif unit and quantities.known(one.unit) and not quantities.same_quantity(unit, one.unit):
            rule = f"does not measure the same quantity as {one.unit}"
            yield Fault(place, unit, rule)


def _all_taken(one: Measurement) -> Iterator[tuple[Keys, Taken]]:
    """Every reading of a measurement with its place in the file."""
    for when, taken in (("as_found", one.as_found), ("after", one.after)):
        if taken is not None:
            yield (when,), taken
    for unit, taken in one.on_units.items():
        yield ("on_units", unit), taken


def _limits(one: Measurement, keys: Keys) -> Iterator[Fault]:
    limited = one.at_least is not None or one.at_most is not None
    if limited and not one.limit_source.strip():
        step = "name the document, its edition and the page; limits differ between makers"
        yield Fault((*keys, "limit_source"), "", "a limit needs its source", step)
    if one.at_least is not None and one.at_most is not None and one.at_least >= one.at_most:
        rule = f"must be below at_most, which is {one.at_most:g}"
        yield Fault((*keys, "at_least"), f"{one.at_least:g}", rule)


def _uncertainty(one: Measurement, keys: Keys) -> Iterator[Fault]:
    ways = [
        key
        for key in ("standard_uncertainty", "expanded_uncertainty", "accuracy")
        if getattr(one, key) is not None
    ]
    if len(ways) > 1:
        rule = f"state the uncertainty once: {', '.join(ways)} are all given"
        yield Fault((*keys, ways[-1]), "", rule, "keep the one that the certificate gives")
    accuracy = one.accuracy
    if accuracy is None:
        return
    if accuracy.counts and not accuracy.resolution:
        rule = "counts need the resolution: the size of one count on the range in use"
        yield Fault((*keys, "accuracy", "counts"), f"{accuracy.counts:g}", rule)
    elif not (accuracy.percent_of_reading or accuracy.counts or accuracy.fixed):
        rule = "an instrument without any error does not exist"
        yield Fault((*keys, "accuracy"), "", rule, "copy the line from its data sheet")


def _open_circuit(one: Measurement, keys: Keys) -> Iterator[Fault]:
    for where, taken in _all_taken(one):
        if taken.reading not in ("open circuit", "over-range"):
            continue
        place = (*keys, *where, "reading")
        if taken.reading == "open circuit" and not quantities.is_resistance(one.unit):
            step = "write over-range with the instrument's range, or no reading"
            yield Fault(place, "open circuit", "is a reading of resistance only", step)
        elif one.range is None:
            rule = "tells nothing without the largest reading that the instrument can show"
            yield Fault(place, str(taken.reading), rule, f"add range: in {one.unit}")
