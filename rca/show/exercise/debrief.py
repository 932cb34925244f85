"""What a class did, counted for the debrief: causes named, spending, confidence, traps, best order.

Every share comes with its count and an exact 95 % interval (Clopper and Pearson 1934). Withheld
marks are left out of every count, and counted apart.
"""

import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import ArrayLike
from scipy import stats

from rca.errors import NoAnswer, Problem, Refused
from rca.records import files
from rca.show.exercise.answer_key import AnswerKey
from rca.show.exercise.marking_class import CLASS, FORMAT
from rca.show.exercise.rubric import CRITERIA
from rca.show.exercise.scenario import SUSPECTS
from rca.show.exercise.suspicion import explanation_name, shares_after

STEPS = (0.0, 0.5, 0.7, 0.85, 1.0)
"""Borders between the classes of stated confidence."""


@dataclass(frozen=True, slots=True, eq=False)
class ClassResult:
    """A marked class, as `rca class mark` left it.

    students
        One row a student whose mark counts: student, code, total, kind, level, cause, right,
        confidence (0 to 1, NaN = not said), spent, budget, best_spent, rounds, verdict,
        verdict_right, verdict_confidence.
    entries
        The same students as the file has them.
    withheld, missing
        Students left out: marks withheld, and nothing handed in.
    """

    students: pd.DataFrame
    entries: tuple[Mapping[str, Any], ...]
    withheld: tuple[str, ...]
    missing: tuple[str, ...]

    def __str__(self) -> str:
        return (
            f"{len(self.students)} students marked, {len(self.withheld)} withheld, "
            f"{len(self.missing)} handed nothing in"
        )


@dataclass(frozen=True, slots=True)
class Brier:
    """Brier score of stated confidence, and what it is to be held against.

    `score` is the mean of (confidence - 1 if right else 0) squared: 0 is perfect, 0.25 is what 50 %
    throughout gives. `constant` is the score of saying the class's own share of right answers each
    time. Both are half of the sum over the two outcomes in Brier (1950), Monthly Weather Review
    78, 1-3.
    """

    score: float
    constant: float
    students: int
    mean_confidence: float
    share_right: float

    def __str__(self) -> str:
        return (
            f"Brier score {self.score:.3f} over {self.students} students (0 is perfect; "
            f"{self.constant:.3f} for always saying {self.share_right:.0%}); on average they were "
            f"{self.mean_confidence:.0%} sure and {self.share_right:.0%} were right"
        )


def read_class(place: Path | str) -> ClassResult:
    """Read a marked class from its folder, or from its class.json.

    Raises
    ------
    Refused
        There is no such file, or it is none of this kit's.
    """
    path = Path(place)
    path = path / CLASS if path.is_dir() else path
    try:
        data = json.loads(files.read_text(path))
        if data["format"] != FORMAT:
            raise ValueError("format")
        entries = tuple(one for one in data["students"] if not one["withheld"])
        withheld = tuple(one["student"] for one in data["students"] if one["withheld"])
        return ClassResult(_table(entries), entries, withheld, tuple(data["missing"]))
    except (ValueError, KeyError, TypeError) as error:
        rule = f"is no marked class of this kit ({type(error).__name__})"
        step = "run rca class mark, and name the folder that it wrote"
        raise Refused([Problem(path.name, 0, "", "", rule, step)]) from error


def _table(entries: Sequence[Mapping[str, Any]]) -> pd.DataFrame:
    columns = (
        "student", "code", "total", "kind", "level", "cause", "right", "confidence", "spent",
        "budget", "best_spent", "rounds", "verdict", "verdict_right", "verdict_confidence",
    )  # fmt: skip
    table = pd.DataFrame([{name: one[name] for name in columns} for one in entries],
                         columns=list(columns))  # fmt: skip
    for name in ("total", "confidence", "best_spent", "verdict_confidence"):
        table[name] = pd.to_numeric(table[name]).astype(float)
    return table


def causes_named(result: ClassResult) -> pd.DataFrame:
    """Count the causes named, most often first: cause, named, right, true_in (so many cases)."""
    rows = []
    for suspect in (*SUSPECTS, ""):
        named = [one for one in result.entries if one["cause"] == suspect]
        true_in = sum(suspect in one["guilty"] for one in result.entries)
        if named or true_in:
            rows.append(
                {
                    "cause": suspect or "none named",
                    "named": len(named),
                    "right": sum(suspect in one["guilty"] for one in named),
                    "true_in": true_in,
                }
            )
    table = pd.DataFrame(rows, columns=["cause", "named", "right", "true_in"])
    return table.sort_values("named", ascending=False, kind="stable", ignore_index=True)


def spending_against_marks(result: ClassResult) -> pd.DataFrame:
    """One row a student: student, spent_share and best_share of the budget, total, right."""
    table = result.students
    return pd.DataFrame(
        {
            "student": table["student"],
            "spent_share": table["spent"] / table["budget"],
            "best_share": table["best_spent"] / table["budget"],
            "total": table["total"],
            "right": table["right"].astype(bool),
        }
    )


def points_by_criterion(result: ClassResult) -> pd.DataFrame:
    """Mean points by criterion: criterion, points, most, students; weakest first by share."""
    rows = []
    for name, words in CRITERIA.items():
        points = [one["points"][name] for one in result.entries if name in one["points"]]
        if points:
            most = max(one["most"][name] for one in result.entries if name in one["most"])
            rows.append({"criterion": words, "points": float(np.mean(points)), "most": most,
                         "students": len(points)})  # fmt: skip
    table = pd.DataFrame(rows, columns=["criterion", "points", "most", "students"])
    order = (table["points"] / table["most"]).argsort(kind="stable")
    return table.iloc[order].reset_index(drop=True)


def calibration(result: ClassResult) -> pd.DataFrame:
    """Stated confidence against how many were right, in classes of confidence.

    Columns: at_least, below (confidence), students, mean_confidence, right, share_right, lower,
    upper (exact 95 % interval).
    """
    said, right = _said_and_right(result)
    rows = []
    for low, high in pairwise(STEPS):
        inside = (said >= low) & ((said < high) | ((high == 1.0) & (said == 1.0)))
        if inside.any():
            hits, count = int(right[inside].sum()), int(inside.sum())
            rows.append(
                {"at_least": low, "below": high, "students": count,
                 "mean_confidence": float(said[inside].mean()), "right": hits,
                 **share_with_limits(hits, count)}
            )  # fmt: skip
    columns = ["at_least", "below", "students", "mean_confidence", "right", "share_right",
               "lower", "upper"]  # fmt: skip
    return pd.DataFrame(rows, columns=columns)


def brier_score(result: ClassResult) -> Brier:
    """Brier score of the confidence in the cause named.

    Raises
    ------
    NoAnswer
        Nobody named a cause and said how sure.
    """
    said, right = _said_and_right(result)
    if not len(said):
        raise NoAnswer("nobody named a cause and said how sure", next_step="ask for both")
    share = float(right.mean())
    return Brier(
        score=brier(said, right),
        constant=brier(np.full(len(said), share), right),
        students=len(said),
        mean_confidence=float(said.mean()),
        share_right=share,
    )


def brier(probability: ArrayLike, happened: ArrayLike) -> float:
    """Mean squared distance between stated probabilities and what happened (0 or 1)."""
    said, seen = np.asarray(probability, dtype=float), np.asarray(happened, dtype=float)
    return float(np.mean((said - seen) ** 2))


def _said_and_right(result: ClassResult) -> tuple[np.ndarray, np.ndarray]:
    table = result.students
    known = table["confidence"].notna() & (table["cause"] != "")
    return (
        table.loc[known, "confidence"].to_numpy(dtype=float),
        table.loc[known, "right"].to_numpy(dtype=bool),
    )


def share_with_limits(hits: int, count: int) -> dict[str, float]:
    """Share with its exact 95 % interval (Clopper and Pearson 1934, Biometrika 26, 404-413)."""
    lower = 0.0 if hits == 0 else float(stats.beta.ppf(0.025, hits, count - hits + 1))
    upper = 1.0 if hits == count else float(stats.beta.ppf(0.975, hits + 1, count - hits))
    return {"share_right": hits / count, "lower": lower, "upper": upper}


def traps_caught(result: ClassResult) -> pd.DataFrame:
    """Count for each trap: trap, cases, caught, seen, cannot_tell, share_caught, lower, upper.

    The share is of those of whom it can be told.
    """
    rows = []
    names = sorted({trap for one in result.entries for trap in one["traps"]})
    for trap in names:
        met = [one["traps"][trap] for one in result.entries if trap in one["traps"]]
        caught, seen = met.count("caught"), met.count("seen")
        limits = {"share_right": math.nan, "lower": math.nan, "upper": math.nan}
        if caught + seen:
            limits = share_with_limits(caught, caught + seen)
        rows.append(
            {"trap": trap, "cases": len(met), "caught": caught, "seen": seen,
             "cannot_tell": len(met) - caught - seen, "share_caught": limits["share_right"],
             "lower": limits["lower"], "upper": limits["upper"]}
        )  # fmt: skip
    columns = ["trap", "cases", "caught", "seen", "cannot_tell", "share_caught", "lower", "upper"]
    return pd.DataFrame(rows, columns=columns)


def best_order(key: AnswerKey) -> pd.DataFrame:
    """Best order of purchases of a case: clue, price, spent, bits, leader, share of the leader.

    At each step the clue with the most expected information for its price, as `rank_tests` ranks
    tests, until one explanation leads all others by 20 to 1.
    """
    columns = ["clue", "price", "spent", "bits", "leader", "share"]
    return pd.DataFrame(list(key.order), columns=columns)


def path_of(entry: Mapping[str, Any], key: AnswerKey) -> pd.DataFrame:
    """Replay one student's purchases: clue, price, spent, says, and the share of the truth then."""
    truth = explanation_name(set(key.guilty))
    seen: dict[str, str] = {}
    rows, spent = [], 0
    for clue in entry["bought"]:
        seen[clue] = key.outcomes[clue]
        spent += key.prices[clue]
        share = shares_after(key.prices, seen)[truth]
        rows.append({"clue": clue, "price": key.prices[clue], "spent": spent,
                     "says": key.outcomes[clue], "share_of_truth": round(share, 4)})  # fmt: skip
    return pd.DataFrame(rows, columns=["clue", "price", "spent", "says", "share_of_truth"])
