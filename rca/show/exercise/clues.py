"""What every clue of a case shows, and what it says as an outcome for weighing the suspects."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

import numpy as np
import pandas as pd

from rca.records.simulate.draws import Draws
from rca.show.exercise.case_file import Clue
from rca.show.exercise.conditions import Conditions, outside, readings_of
from rca.show.exercise.past import Past
from rca.show.exercise.record_study import RecordStudy
from rca.show.exercise.scenario import MECHANISMS, SUSPECTS
from rca.show.exercise.setting import HIDDEN, Setting

LOOKED_AT, SURVEYED = 6, 12
FAIL, PASS = "fail", "pass"
NOTHING = "nothing"
ONE_RIGHT, LABORATORY_RIGHT = 0.7, 0.94
"""Chance that one part, or the laboratory, shows the true mechanism (constructed)."""
SURVEY_FAIL = 4
BENCH_FAIL = 4


@dataclass(frozen=True, slots=True, eq=False)
class Shown:
    """What a clue shows: its sealed content, and its outcome as `suspicion` weighs it."""

    content: Mapping[str, Any]
    outcome: str


class Showing:
    """Writes the clues of one case; `draws` decides readings, samples and errors."""

    def __init__(
        self, setting: Setting, past: Past, study: RecordStudy, seen: Conditions, draws: Draws
    ) -> None:
        self.setting, self.past, self.study, self.seen = setting, past, study, seen
        self.draws = draws
        self.place = setting.scenario

    def show(self, clue: Clue) -> Shown:
        """Return what a clue of the menu shows."""
        group, _, detail = clue.id.partition("-")
        draws = self.draws.child(clue.id)
        if group == "changes":
            return self._changes(draws)
        return {
            "records": self._records,
            "bench": self._bench,
            "teardown": self._teardown,
            "survey": self._survey,
            "demonstration": self._demonstration,
        }[group](detail, draws)

    def _content(
        self,
        kind: str,
        days: int,
        paragraphs: list[str],
        rows: list[dict[str, Any]] | None = None,
        **more: Any,
    ) -> dict[str, Any]:
        found = self.setting.cutoff + timedelta(days=days)
        return {
            "kind": kind,
            "found_on": found.isoformat(),
            "paragraphs": paragraphs,
            "columns": list(rows[0]) if rows else [],
            "rows": rows or [],
            **more,
        }

    # Records --------------------------------------------------------------------------

    def _records(self, detail: str, draws: Draws) -> Shown:
        return {"before": self._before, "groups": self._groups, "life": self._life}[detail]()

    def _before(self) -> Shown:
        found = self.study.screen.found
        events = found[(found["kind"] == "event")]
        rows = [
            {
                "found before": str(row.candidate),
                "failures with it": int(row.events),
                "by chance": round(float(row.expected), 1),
                "days before (half of them)": f"{row.lag_lower:.0f} to {row.lag_upper:.0f}",
                "order": str(row.word),
            }
            for row in events.itertuples()
        ]
        suspects = {self.place.signs[name]: name for name in HIDDEN}
        first = [
            suspects[str(row.candidate)] for row in events.sort_values("p").itertuples()
            if str(row.candidate) in suspects and str(row.word) == "comes before"
        ]  # fmt: skip
        said = (
            "Other repairs on the same units around the failures, counted against chance."
            if rows
            else "No other repair lies near these failures more often than chance would have it."
        )
        return Shown(
            self._content("recorded", 2, [said, _only_hint()], rows), first[0] if first else NOTHING
        )

    def _groups(self) -> Shown:
        found = self.study.screen.found
        groups = found[found["kind"] == "attribute"]
        rows = [
            {
                "group": str(row.candidate),
                "failures": int(row.events),
                "expected if alike": round(float(row.expected), 1),
                "ratio": round(float(row.ratio), 1),
                "95 % from": round(float(row.lower), 1),
                "to": round(float(row.upper), 1),
            }
            for row in groups.itertuples()
        ]
        column = {"duty": "duty", "surroundings": "environment", "lot": "lot", "depot": "fitting"}
        first = [
            column[str(row.candidate).partition(" = ")[0]]
            for row in groups.sort_values("p").itertuples()
            if str(row.candidate).partition(" = ")[0] in column
        ]
        said = (
            "Groups with more failures than their lives explain, looked at one at a time."
            if rows
            else "No duty, place, depot, model or lot has more failures than its lives explain."
        )
        return Shown(
            self._content("recorded", 2, [said, _only_hint()], rows), first[0] if first else NOTHING
        )

    def _life(self) -> Shown:
        fit, pattern = self.study.fit, self.study.pattern
        lines = [str(pattern)]
        if fit is not None:
            limits = fit.interval("shape")
            lines.append(
                f"Weibull shape {fit.shape:.2f} ({limits}), scale {fit.scale:,.0f} "
                f"{self.place.meter_unit if self.study.scale == 'meter' else 'days'}, from "
                f"{self.study.failures} failures."
            )
        worn = fit is not None and fit.interval("shape").lower > 1.8
        return Shown(self._content("recorded", 2, [*lines, _only_hint()]), "wear" if worn else "no")

    # Bench, survey, demonstration -----------------------------------------------------

    def _bench(self, suspect: str, draws: Draws) -> Shown:
        one = self.place.suspects[suspect].reading
        units = self.seen.failed[:LOOKED_AT]
        there = self.seen.on_failed[suspect][:LOOKED_AT]
        values = readings_of(self.setting, suspect, there, draws)
        out = outside(self.setting, suspect, values)
        unit = f" {one.unit}" if one.unit else ""
        rows = [
            {
                "unit": name,
                "reading": f"{value:.{one.digits}f}{unit}",
                "limit": f"{'at most' if one.at_most else 'at least'} {one.limit:g}{unit}",
                "found": "outside" if bad else "inside",
            }
            for name, value, bad in zip(units, values, out, strict=True)
        ]
        says = f"{int(out.sum())} of {len(units)} readings lie outside the limit."
        lines = [f"{one.quantity[0].upper()}{one.quantity[1:]}, on the units that failed last.",
                 says, *self._dates(suspect)]  # fmt: skip
        outcome = FAIL if out.sum() >= BENCH_FAIL else PASS
        return Shown(self._content("measured", 5, lines, rows), outcome)

    def _dates(self, suspect: str) -> list[str]:
        """Where a condition is a consequence, its dates say so; a date is given in any case."""
        if suspect not in HIDDEN:
            return []
        part = self.place.signs[suspect]
        repairs = self.past.fleet.repairs
        mine = repairs[repairs["unit"].isin(self.seen.failed[:LOOKED_AT])]
        mine = mine[mine["reason"] == "failure"]
        days: dict[str, dict[str, list[int]]] = {self.place.part: {}, part: {}}
        for unit, name, day in zip(
            mine["unit"], mine["part"], mine["date"].to_numpy("datetime64[D]").astype(int),
            strict=True,
        ):  # fmt: skip
            if name in days:
                days[name].setdefault(unit, []).append(int(day))
        near = {"before": 0, "after": 0}
        target = [(unit, day) for unit, held in days[self.place.part].items() for day in held]
        for unit, day in target:
            apart = [other - day for other in days[part].get(unit, [])]
            near["before"] += any(-60 <= one < 0 for one in apart)
            near["after"] += any(0 < one <= 60 for one in apart)
        return [
            f"Work on the {part} of these units within 60 days: before {near['before']} and after "
            f"{near['after']} of their {len(target)} failures."
        ]

    def _survey(self, suspect: str, draws: Draws) -> Shown:
        counts = {}
        for key, flags in (("failed", self.seen.on_failed), ("not_failed", self.seen.on_sound)):
            there = flags[suspect][:SURVEYED]
            wrong = draws.child(key).chance(len(there), self.setting.error / 2)
            counts[key] = {"seen": int((there ^ wrong).sum()), "of": len(there)}
        condition = self.place.suspects[suspect].condition
        rows = [
            {"units": words, "looked at": counts[key]["of"], "found on": counts[key]["seen"]}
            for key, words in (("failed", "failed"), ("not_failed", "did not fail"))
        ]
        lines = [f"Looked for: {condition}."]
        more = counts["failed"]["seen"] - counts["not_failed"]["seen"]
        outcome = FAIL if more >= SURVEY_FAIL else PASS
        return Shown(self._content("measured", 9, lines, rows, survey=counts), outcome)

    def _demonstration(self, suspect: str, draws: Draws) -> Shown:
        guilty = suspect in self.setting.guilty
        wrong = bool(draws.child("wrong").chance(1, self.setting.error / 3)[0])
        follows = guilty ^ wrong
        condition = self.place.suspects[suspect].condition
        level = draws.child("signs").uniform(3, 0.0, 1.0)
        signs = [f"{2 + 3 * value:.1f}" for value in level]
        if follows:
            signs[0], signs[2] = (f"{14 + 8 * level[place]:.1f}" for place in (0, 2))
        rows = [
            {"step": step, "condition": state, "signs of damage (index)": sign}
            for step, state, sign in zip(
                (1, 2, 3), ("put in", "taken out", "put in again"), signs, strict=True
            )
        ]
        lines = [f"On one unit: {condition}; two weeks a step, under supervision, within the "
                 "maker's limits."]  # fmt: skip
        if guilty and self.setting.partner:
            other = next(iter(self.setting.guilty - {suspect}))
            lines.append(
                f"The unit also had: {self.place.suspects[other].condition}. On a second unit "
                "without it no signs came."
            )
        lines.append("The signs follow the condition." if follows else
                     "The signs do not follow the condition.")  # fmt: skip
        return Shown(self._content("measured", 45, lines, rows), FAIL if follows else PASS)

    # Teardown and changes -------------------------------------------------------------

    def _teardown(self, detail: str, draws: Draws) -> Shown:
        if detail == "one":
            found = self._mechanism(draws, ONE_RIGHT)
            lines = [f"The last failed {self.place.part}: {self.place.mechanisms[found]}.",
                     "One part, the most recent: not a sample."]  # fmt: skip
            return Shown(self._content("observed", 4, lines), found)
        if detail == "six":
            found_all = [self._mechanism(draws.child(str(n)), 0.8) for n in range(LOOKED_AT)]
            counts = pd.Series(found_all).value_counts(sort=False)
            rows = [
                {"finding": self.place.mechanisms[name], "parts": int(counts[name])}
                for name in sorted(counts.index, key=lambda one: (-counts[one], one))
            ]
            best = max(sorted(counts.index), key=lambda one: counts[one])
            lines = ["Six parts drawn by lot from those removed in the last year."]
            return Shown(self._content("observed", 12, lines, rows), str(best))
        found = self._mechanism(draws, LABORATORY_RIGHT)
        lines = [f"Laboratory report on six parts: {self.place.mechanisms[found]}.",
                 "It names the mechanism, not what brought it about."]  # fmt: skip
        return Shown(self._content("measured", 21, lines), found)

    def _mechanism(self, draws: Draws, right: float) -> str:
        """The true mechanism, of two causes that of the first, or with some chance another one."""
        first = next(name for name in SUSPECTS if name in self.setting.guilty)
        true = MECHANISMS[first]
        if draws.child("right").chance(1, right)[0]:
            return true
        others = [name for name in sorted(set(MECHANISMS.values())) if name != true]
        return others[int(draws.child("which").choose(1, [1.0] * len(others))[0])]

    def _changes(self, draws: Draws) -> Shown:
        """Changes of the guilty suspects and of as many innocent ones as make five."""
        innocent = [name for name in SUSPECTS if name not in self.setting.guilty]
        count = 5 - len(self.setting.guilty)
        more = [innocent[int(place)] for place in draws.sample(len(innocent), count)]
        named = [*sorted(self.setting.guilty), *more]
        days = draws.child("days").uniform(len(named), -200.0, 420.0)
        begin = self.setting.records_begin
        rows = [
            {
                "month": f"{begin + timedelta(days=int(day)):%Y-%m}",
                "change": self.place.suspects[name].change,
                "how it came about": self.place.suspects[name].behind,
            }
            for name, day in zip(named, np.asarray(days), strict=True)
        ]
        rows.sort(key=lambda row: row["month"])
        lines = ["From orders and minutes, before and while failures became frequent. That it was "
                 "changed is no proof that it did harm."]  # fmt: skip
        return Shown(self._content("recorded", 3, lines, rows), NOTHING)


def _only_hint() -> str:
    return "Counts say where to look; they prove no cause."
