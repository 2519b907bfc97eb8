"""Mean cumulative function of recurrent events."""

import numpy as np
import pandas as pd
import pytest

from analytics.errors import InputError
from analytics.survival.curve_readings import step_at
from analytics.survival.curves import nelson_aalen
from analytics.survival.mean_cumulative import mean_cumulative
from datasets.reference import path


def test_valve_seats():
    # R 4.2.2 and surpyval 0.25 on valveSeat (Nelson & Doganaksoy; Meeker & Escobar 1998);
    # robust variance of Lawless & Nadeau (1995), 1e-7. Two engines have two replacements
    # on one day; the ends are the status-0 rows.
    table = pd.read_csv(path("survival_valveSeat"))
    ends = table[table["status"] == 0].set_index("id")["time"]
    seats = table[table["status"] == 1]
    curve = mean_cumulative(seats["time"], ends.index.get_indexer(seats["id"]), end=ends.to_numpy())
    days = [98, 200, 300, 404, 500, 600, 650]

    def at(values):
        return step_at(curve.age, values, days, before=0.0)

    assert (len(ends), len(seats)) == (41, 48)
    assert at(curve.at_risk).tolist() == [41, 41, 41, 40, 40, 34, 13]
    assert at(curve.mean) == pytest.approx(
        [0.14634146, 0.26829268, 0.46341463, 0.68353659, 0.80853659, 1.01426414, 1.32046529],
        abs=1e-7,
    )
    assert at(curve.naive_error) == pytest.approx(
        [0.05974365, 0.08089329, 0.10631461, 0.12917766, 0.14075464, 0.15849114, 0.21065475],
        abs=1e-7,
    )
    assert at(curve.robust_error) == pytest.approx(
        [0.05519934, 0.07731661, 0.10960728, 0.13593896, 0.14925494, 0.17384433, 0.22850516],
        abs=1e-7,
    )
    assert at(curve.low) == pytest.approx(
        [0.0698712, 0.1525139, 0.2915028, 0.4628905, 0.5630784, 0.7248624, 0.9406487], abs=1e-7
    )
    assert at(curve.high) == pytest.approx(
        [0.3065044, 0.4719632, 0.7367103, 1.0093580, 1.1609955, 1.4192097, 1.8536449], abs=1e-7
    )


def test_one_event_each_is_nelson_aalen():
    # Limiting case: units that leave at their first event.
    rng = np.random.default_rng(3)
    age, failed = rng.integers(2, 20, 50).astype(float), rng.random(50) < 0.5
    start = np.where(rng.random(50) < 0.4, 1.0, 0.0)
    curve = mean_cumulative(age[failed], np.flatnonzero(failed), end=age, start=start)
    hazard = nelson_aalen(age, failed, entry=start)

    assert curve.mean == pytest.approx(hazard.cumulative_hazard, abs=1e-12)
    assert curve.naive_error == pytest.approx(hazard.std_error, abs=1e-12)


def test_robust_error_by_the_double_sum():
    # Independent route: the published double sum, written out with loops.
    rng = np.random.default_rng(4)
    end, start = rng.uniform(5, 10, 12), rng.uniform(0, 3, 12)
    unit = rng.integers(0, 12, 30)
    age = np.round(start[unit] + (end - start)[unit] * rng.uniform(0.05, 1, 30), 2)
    age = np.minimum(age, end[unit])
    curve = mean_cumulative(age, unit, end=end, start=start)

    total = np.zeros(curve.age.size)
    for i in range(12):
        inner = 0.0
        for k, t in enumerate(curve.age):
            watched = start[i] < t <= end[i]
            own = np.sum((unit == i) & (age == t))
            inner += watched / curve.at_risk[k] * (own - curve.events[k] / curve.at_risk[k])
            total[k] += inner**2
    assert curve.robust_error == pytest.approx(np.sqrt(total), abs=1e-12)


def test_no_events_give_an_empty_curve():
    curve = mean_cumulative([], [], end=[4.0, 5.0])

    assert curve.age.size == 0
    assert curve.last_age == 5.0


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (dict(age=[1.0], unit=[0], end=[]), "n_units >= 1"),
        (dict(age=[1.0], unit=[0, 0], end=[2.0]), "one shape"),
        (dict(age=[1.0], unit=[1], end=[2.0]), "unit must lie in 0 to 0"),
        (dict(age=[3.0], unit=[0], end=[2.0]), "outside the watch of unit 0, 0 to 2"),
        (dict(age=[1.0], unit=[0], end=[2.0], start=[1.0]), "outside the watch"),
        (dict(age=[1.0], unit=[0], end=[np.nan]), "0 <= start < end"),
        (dict(age=[1.0], unit=[0], end=[2.0], start=[2.0]), "0 <= start < end"),
        (dict(age=[1.0], unit=[0], end=[2.0], confidence=1), "confidence"),
    ],
)
def test_bad_input_is_refused(arguments, message):
    with pytest.raises(InputError, match=message):
        mean_cumulative(**arguments)
