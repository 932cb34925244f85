"""The strongest candidates that were not found: shown beside those found, as what chance can do."""

from typing import Any

import numpy as np
import pandas as pd

from rca.causes.screen.background import Array
from rca.causes.screen.candidate_rows import attribute_strength, event_strength
from rca.causes.screen.explaining import FoundEvent
from rca.causes.screen.target_tests import Run, TargetTests

COULD_BE_CHANCE = "could be chance"
SHOWN = 4
"""Candidates told of each part at most; the strongest of many look stronger than they are."""


def nearest_rows(
    run: Run, screened: list[TargetTests], passed: list[Array], tested: pd.DataFrame
) -> list[dict[str, Any]]:
    """Describe, for each part, the candidates of smallest p that did not pass."""
    q = tested.set_index(["target", "candidate"])["q"]
    rows = []
    for one, found in zip(screened, passed, strict=True):
        order = np.argsort(one.p, kind="stable")
        places = [int(place) for place in order if not found[place] and one.p[place] < 1.0]
        for place in places[:SHOWN]:
            row = _strength(run, one, place)
            row["q"] = float(q[one.name, row["candidate"]])
            rows.append({"target": one.name, "word": COULD_BE_CHANCE, "note": ""} | row)
    return rows


def _strength(run: Run, one: TargetTests, place: int) -> dict[str, Any]:
    p = float(one.p[place])
    if place >= one.n_events:
        test = one.attributes[place - one.n_events]
        name = f"{test.attribute} = {test.level}"
        about = {"candidate": name, "kind": "attribute", "p": p}
        return about | attribute_strength(test, failures=len(one.failures))
    assert one.company is not None
    event = FoundEvent(one, one.company, place, p)
    about = {"candidate": run.events.names[event.kind], "kind": "event", "p": p}
    return about | event_strength(run, event)
