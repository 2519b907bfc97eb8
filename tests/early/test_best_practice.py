import numpy as np
import pandas as pd
import pytest

from analytics.early.best_practice import FEWEST_RECORDS, best_practice
from analytics.errors import NotEstimable


def records(defects, recorded):
    """One row per install; crew k has so many defects among so many records."""
    rows = [
        {"crew": f"c{k}" if k < 99 else None, "gap_even": j >= d}
        for k, (d, n) in enumerate(zip(defects, recorded, strict=True))
        for j in range(n)
    ]
    return pd.DataFrame(rows).astype({"gap_even": "boolean"})


def kept(lives, **options):
    found = best_practice(lives, ["gap_even"], n_draws=1000, **options)
    return dict(zip(found.crews, found.kept["gap_even"].mean(axis=0), strict=True)), found


def test_crews_are_brought_to_the_best_and_the_best_stays_as_it_is():
    by_crew, found = kept(records([10, 40, 40, 80], [400] * 4))
    assert by_crew["c0"] == pytest.approx(1.0)
    # the crews' own records say 10 / 40 and 10 / 80; the best is drawn a little to the fleet
    assert 10 / 40 < by_crew["c1"] < 0.34
    assert 10 / 80 < by_crew["c3"] < 0.17
    assert found.fleet["gap_even"] == pytest.approx(170 / 1600)
    assert 10 / 400 < found.best["gap_even"].estimate < 20 / 400


def test_crews_that_only_differ_by_luck_have_half_as_much_to_gain_as_it_seems():
    # Taken at their word, the best two of eight equal crews would spare a third of all defects.
    rng = np.random.default_rng(4)
    checks = ["gap_even", "seat_clean", "studs_good", "final_pass"]
    spared, naive = [], []
    for _ in range(30):
        defects = rng.binomial(60, 0.15, (4, 8))
        lives = records(defects[0], [60] * 8)
        for check, found in zip(checks, defects, strict=True):
            lives[check] = records(found, [60] * 8)["gap_even"]
        best = best_practice(lives, checks, n_draws=300)
        spared.append(1 - np.mean([best.kept[check].mean() for check in checks]))
        naive.append(1 - np.sort(defects, axis=1)[:, :2].mean() / defects.mean())
    assert np.mean(naive) > 0.3
    assert np.mean(spared) < 0.5 * np.mean(naive)


def test_a_crew_of_few_records_is_no_yardstick():
    # The last crew's few records are all clean, and count for nothing.
    lives = records([20, 20, 20, 20, 0], [100, 100, 100, 100, FEWEST_RECORDS - 1])
    by_crew, found = kept(lives)
    without, _ = kept(lives[lives["crew"] != "c4"])
    assert found.best["gap_even"].estimate > 0.15
    assert by_crew["c0"] == pytest.approx(without["c0"], abs=0.05)


def test_what_nobody_recorded_is_neither_good_nor_bad():
    lives = records([10, 40, 40, 80], [400] * 4)
    blank = lives.assign(gap_even=pd.array([pd.NA] * len(lives), dtype="boolean"))
    both = pd.concat([lives, blank], ignore_index=True)
    assert kept(both)[1].best == kept(lives)[1].best


def test_outcomes_do_not_enter():
    lives = records([10, 40, 40, 80], [400] * 4)
    unlucky = lives.assign(ending=np.where(lives["crew"] == "c0", "premature", "in_service"))
    assert kept(unlucky)[1].best == kept(lives)[1].best


def test_a_crew_careful_in_one_check_is_taken_to_be_so_in_a_check_it_seldom_records():
    lives = records([10, 40, 40, 80], [400] * 4).assign(seat_clean=True)
    lives = lives.astype({"seat_clean": "boolean"})
    lives["seat_clean"] = pd.array(np.arange(len(lives)) % 8 > 0, dtype="boolean")
    lives.loc[lives.groupby("crew").cumcount() >= 24, "seat_clean"] = pd.NA
    found = best_practice(lives, ["gap_even", "seat_clean"], n_draws=1000)
    spared = 1 - found.kept["seat_clean"].mean(axis=0)
    assert spared[3] > spared[0]


@pytest.mark.parametrize(("crews", "each"), [(3, 100), (8, FEWEST_RECORDS - 1)])
def test_too_little_is_refused(crews, each):
    with pytest.raises(NotEstimable, match="4 named crews with at least 10 records"):
        best_practice(records([5] * crews, [each] * crews), ["gap_even"], n_draws=10)
