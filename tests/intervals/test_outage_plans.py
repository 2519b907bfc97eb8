"""Plans per outage group: who is in, what is left out, limits and rules kept."""

import numpy as np
import pandas as pd
import pytest
from interval_cases import EXPORT, habits, outages, places, some_law

from analytics.intervals.outage_plans import OutagePlans, plan_outages
from analytics.intervals.overdue import DAYS_PER_MONTH
from analytics.intervals.proposals import propose

DAY = EXPORT.date()
STOPS = pd.concat(
    [
        outages("2024-10-01", "2026-01-10", "2027-04-01", "2028-06-15", "2029-09-01"),
        outages("2027-02-01", "2029-02-01", group="h"),
    ],
    ignore_index=True,
)


def plans(limit: dict[str, int] | None = None) -> tuple[OutagePlans, pd.DataFrame, pd.DataFrame]:
    law = some_law(draws=5, units=8)
    today = places(
        8,
        turnaround_group=["g"] * 4 + ["h"] * 3 + ["nowhere"],
        cap_interval_months=[36.0, 48.0, np.nan, 60.0, 36.0, 48.0, 60.0, 36.0],
        age_years=[0.7, 2.0, 1.0, 3.0, 0.7, 2.0, 2.5, 1.0],
        store="mill",
    )
    custom = habits(8)
    rows = propose(today, law, custom, STOPS, export_date=DAY).intervals
    stops = STOPS.assign(crew_limit=STOPS["turnaround_group"].map(limit or {}).astype("Int64"))
    found = plan_outages(today, rows, custom, law, stops, export_date=DAY)
    return found, today, rows


def test_every_position_with_a_cap_and_an_outage_is_planned():
    found, _, _ = plans()
    assert set(found.left_out) == {"P2", "P7"}
    assert "no cap" in found.left_out["P2"]
    assert "no coming outage" in found.left_out["P7"]
    assert found.groups.set_index("turnaround_group")["positions"].to_dict() == {"g": 3, "h": 3}
    assert (found.replacements["outage_on"] >= EXPORT).all()
    assert found.replacements["outage_on"].is_monotonic_increasing


def test_a_crew_limit_holds_and_its_price_is_named():
    free, limited = plans()[0], plans({"g": 1})[0]
    per_outage = limited.replacements.groupby(["turnaround_group", "outage_on"]).size()
    assert per_outage["g"].max() == 1
    groups = limited.groups.set_index("turnaround_group")
    assert groups.loc["g", "cost"] >= groups.loc["g", "cost_without_limits"]
    assert groups.loc["h", "cost"] == pytest.approx(
        free.groups.set_index("turnaround_group").loc["h", "cost"]
    )


def test_without_outages_of_its_own_no_stretch_is_longer_than_allowed():
    found, today, rows = plans()
    allowed = rows.set_index("position_id")["latest_months"]
    quiet = found.groups.set_index("turnaround_group")["own_outages"]
    checked = 0
    for name, dates in found.replacements.groupby("position_id")["outage_on"]:
        group = today.set_index("position_id").loc[name, "turnaround_group"]
        if quiet[group] > 0:
            continue
        ages = dates.diff().dropna().dt.days / DAYS_PER_MONTH
        assert (ages <= allowed[name] + 0.1).all()
        checked += 1
    assert checked or (quiet > 0).all()


def test_nothing_to_plan_gives_empty_tables():
    today = places(1, cap_interval_months=np.nan, store="mill")
    law = some_law(units=1)
    rows = propose(today, law, habits(1), STOPS, export_date=DAY).intervals
    found = plan_outages(today, rows, habits(1), law, STOPS, export_date=DAY)
    assert found.replacements.empty
    assert found.groups.empty
