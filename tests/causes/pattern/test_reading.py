"""The pattern reading: planted patterns are read, and silence where nothing can be said."""

import re

import numpy as np
import pandas as pd
import pytest

from rca.causes.pattern.reading import Pattern, Reading, _plain, read_pattern
from tests.benchmarks.pattern_characteristics import read
from tests.benchmarks.pattern_fleets import TRUTHS, Case, make_lives

STRONG = ("early", "random", "wear-out", "lot", "depot", "burst", "mixed")


def test_planted_patterns_are_read_with_150_failures():
    """Three fleets of each of seven patterns: most are read right, hardly one wrong.

    Shares over 80 fleets of each stand in tests/benchmarks/README.md.
    """
    right = silent = 0
    for truth in STRONG:
        readings = [read(Case(truth, 150), 2000 + number).reading for number in range(3)]
        right += readings.count(Reading(TRUTHS[truth]))
        silent += readings.count(Reading.OPEN)
    assert right >= 16
    assert right + silent >= 20


def test_few_failures_mostly_say_not_enough():
    """Random failures, 20 of them: no place or time in eight fleets, often "not enough"."""
    readings = [read(Case("random", 20), 1000 + number).reading for number in range(8)]
    assert set(readings) <= {Reading.RANDOM, Reading.EARLY, Reading.WEAR_OUT, Reading.OPEN}
    assert Reading.OPEN in readings


def test_every_model_has_a_name_in_words(bad_lot):
    """Whatever competes can be named where two fit alike."""
    seasonal = read(Case("season", 50), 1000)
    assert "season" in seasonal.weight
    names = {_plain(name) for name in {*bad_lot.weight, *seasonal.weight}}
    assert len(names) == len({*bad_lot.weight, *seasonal.weight})


def test_nine_failures_are_too_few():
    """Below ten nothing is read, and the count is said."""
    lives, _ = make_lives(Case("random", 50), np.random.default_rng(1))
    few = lives.copy()
    few.loc[few.index[few["failed"]][9:], "failed"] = False
    pattern = read_pattern(few, scale="days")
    assert pattern.reading is Reading.OPEN
    assert pattern.because == ("not enough to say: 9 failures, 10 are needed",)
    assert pattern.shape is None


def test_all_failures_at_the_largest_age_have_no_curve():
    """No maximum exists: the reason of the life fit is passed on."""
    lives, _ = make_lives(Case("random", 50), np.random.default_rng(1))
    same = lives[lives["failed"]].assign(age_days=500.0)
    pattern = read_pattern(same, scale="days")
    assert pattern.reading is Reading.OPEN
    assert pattern.because[0].startswith("not enough to say:")


def test_ordinary_spread_is_not_called_a_few_units():
    """Spread 0.5 on all parts alike, 150 failures: once told, at most one of six says units."""
    case = Case("spread", 150, spread=0.5)
    told = [read(case, 1000 + number, spread=0.5).reading for number in range(6)]
    assert told.count(Reading.UNITS) <= 1


def test_ordinary_spread_does_not_make_random_failures_look_early():
    """Spread 0.5, told: the shape of a unit's own hazard is read, four of six are random."""
    case = Case("spread", 150, spread=0.5)
    patterns = [read(case, 1000 + number, spread=0.5) for number in range(6)]
    assert [one.reading for one in patterns].count(Reading.RANDOM) >= 4
    assert any("of a unit's own hazard" in line for line in patterns[0].because)


def test_a_season_is_not_called_a_burst():
    """Failures up and down by 70 % each year, 150 failures: at most one of six says burst."""
    readings = [read(Case("season", 150), 1000 + number).reading for number in range(6)]
    assert readings.count(Reading.BURST) <= 1


def test_bad_fitting_at_a_depot_shows_in_later_lives_only():
    """Later lives at one of five depots fail 6 times as often: the reading says so in two of 3."""
    patterns = [read(Case("later", 200), 1000 + number) for number in range(3)]
    right = [one.where for one in patterns if one.reading is Reading.DEPOT]
    assert right.count("depot A, later lives") >= 2


def test_late_entries_and_planned_removals_keep_the_shape():
    """Wear-out of shape 3 with 40 % late entries: the interval holds 3 and the word is wear-out."""
    case = Case("wear-out", 150, late_entry=True, planned_removals=True)
    pattern = read(case, 1001)
    assert pattern.shape_interval is not None
    assert pattern.shape_interval.lower < 3.0 < pattern.shape_interval.upper
    assert pattern.how == "wear-out"


@pytest.fixture(scope="module")
def bad_lot() -> Pattern:
    return read(Case("lot", 150), 1000)


def test_evidence_has_numbers_intervals_and_counts(bad_lot):
    """Reading first; ratio, failures, expectation, p and weight; losers are shown too."""
    first, *rest = bad_lot.because
    assert first.startswith("the records look clearly like: bad lot (")
    lot = next(line for line in rest if line.startswith("lot L0"))
    assert re.search(r"lot L0: \d+ failures where .* would give [\d.]+ \(ratio [\d.]+\)", lot)
    assert {line.split(" ")[0] for line in rest} >= {"shape", "lot", "depot", "later"}
    assert bad_lot.where == "lot L0"
    assert bad_lot.lot is not None
    assert 4 < bad_lot.lot.ratio < 9


def test_words_never_claim_a_cause():
    """No sentence of any reading says what the cause is."""
    for truth in ("random", "lot", "burst"):
        for line in read(Case(truth, 150), 1000).because:
            assert "cause" not in line


def test_weights_sum_to_one_and_p_lie_between_0_and_1(bad_lot):
    assert sum(bad_lot.weight.values()) == pytest.approx(1.0)
    assert all(0 <= p <= 1 for p in bad_lot.p.values())
    assert set(bad_lot.p) == {"lot", "depot", "units", "burst", "mixed"}


def test_without_lots_and_depots_they_are_left_out_and_said():
    """Their share of the error is not handed on: three tests remain under Holm."""
    lives, _ = make_lives(Case("random", 60), np.random.default_rng(3))
    pattern = read_pattern(lives.assign(lot=""), scale="days")
    assert set(pattern.p) == {"units", "burst", "mixed"}
    assert "no lot could be looked at: fewer than two are recorded" in pattern.because
    assert "no depot could be looked at: fewer than two are recorded" in pattern.because


def test_same_lives_and_seed_give_the_same_reading():
    lives, units = make_lives(Case("lot", 60), np.random.default_rng(3))
    one, two = (read_pattern(lives, scale="days", units=units, seed=5) for _ in range(2))
    assert one.because == two.because


def test_the_scale_of_ages_does_not_matter():
    """Kilometres at 137 a day instead of days: same shape, p-values and reading."""
    lives, units = make_lives(Case("depot", 80), np.random.default_rng(4))
    meters = lives.assign(entry_meter=lives["entry_days"] * 137, age_meter=lives["age_days"] * 137)
    days = read_pattern(meters, scale="days", units=units)
    driven = read_pattern(meters, scale="meter", units=units)
    assert driven.shape == pytest.approx(days.shape)
    assert driven.p == pytest.approx(days.p)
    assert driven.reading is days.reading


def test_spread_between_units_is_seen():
    """Gamma factors of variance 1, about 300 failures: one of the neighbouring grid values."""
    lives, _ = make_lives(Case("spread", 300, spread=1.0), np.random.default_rng(2))
    assert read_pattern(lives, scale="days").spread in (0.6, 1.0, 2.0)


def test_pieces_of_unknown_age_are_not_used():
    """Blank meters: only the others count."""
    lives, _ = make_lives(Case("random", 60), np.random.default_rng(6))
    meters = lives.assign(entry_meter=0.0, age_meter=lives["age_days"] * 50)
    meters.loc[meters.index[::2], "age_meter"] = np.nan
    pattern = read_pattern(meters, scale="meter")
    assert pattern.failures == int(pd.notna(meters["age_meter"])[meters["failed"]].sum())
