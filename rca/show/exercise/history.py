"""What is told of a case at the start: the story on the case sheet, and complaint and history."""

from typing import Any

import pandas as pd

from rca.records.simulate.draws import Draws
from rca.show.exercise.past import Past
from rca.show.exercise.record_study import RecordStudy
from rca.show.exercise.scenario import SUSPECTS
from rca.show.exercise.setting import Setting


def story_of(setting: Setting, past: Past) -> str:
    """Return the story of the case sheet; it holds for every kind alike."""
    place = setting.scenario
    return (
        f"{setting.operator} (invented) runs {setting.units} {place.units_word} from "
        f"{', '.join(setting.depots[:-1])} and {setting.depots[-1]}. Since the records begin on "
        f"{setting.records_begin.isoformat()}, the {place.part} has failed again and again, and "
        f"has been replaced each time. What it does: {place.effect}. You are asked to find out "
        f"why, to have it put right, and to say after {setting.months_after} months whether that "
        "has worked. The records end on "
        f"{setting.cutoff.isoformat()}."
    )


def history_of(setting: Setting, past: Past, study: RecordStudy, draws: Draws) -> dict[str, Any]:
    """Return the content of the first clue: free, and the same in shape in every kind."""
    place = setting.scenario
    repairs = past.fleet.repairs
    mine = repairs[(repairs["part"] == place.part) & (repairs["reason"] == "failure")]
    last = mine.sort_values("date", kind="stable").tail(5)
    year = mine["date"] > pd.Timestamp(setting.cutoff) - pd.Timedelta("365D")
    rows = [
        {
            "date": f"{row.date:%Y-%m-%d}",
            "unit": row.unit,
            "complaint": row.complaint,
            "cause written down": row.cause,
        }
        for row in last.itertuples()
    ]
    said = [SUSPECTS[int(n)] for n in draws.child("foremen").sample(len(SUSPECTS), 2)]
    lines = [
        f"In the last twelve months {int(year.sum())} rows of the records tell of a failed "
        f"{place.part}. Each time the part was replaced; nobody looked further.",
        f"One foreman is sure: \u201c{place.suspects[said[0]].says}.\u201d Another does not agree: "
        f"\u201c{place.suspects[said[1]].says}.\u201d Neither has measured anything.",
        "The removed parts of the last year were kept. The five latest failures:",
    ]
    return {
        "kind": "told",
        "found_on": setting.cutoff.isoformat(),
        "paragraphs": lines,
        "columns": list(rows[0]) if rows else [],
        "rows": rows,
    }
