"""What was written down of it: the tables as the plant keeps them."""

import numpy as np
import pandas as pd

from datasets.demo.lives import CHECKS
from datasets.demo.places import BY_CODE
from datasets.demo.world import DISCS, EXPORT, LOG_BEGINS, PROGRAMME, TORQUE_ERA, iso

__all__ = ["disc_table", "install_table", "outage_table", "position_table", "removal_table"]

CREW_LIMITS = {"fen-1": 32, "ridge-south": 24}
"""Most discs the fitters can change in a coming stop; elsewhere nobody wrote a limit down."""

RECORDED = {
    "tag_matches": 0.92,
    "disc_undamaged": 0.86,
    "seat_clean": 0.84,
    "seat_undamaged": 0.72,
    "holder_flat": 0.58,
    "flow_direction": 0.92,
    "finger_tight_start": 0.66,
    "gap_even": 0.80,
    "final_pass": 0.74,
    "studs_lubricated": 0.78,
    "studs_good": 0.70,
    "gasket_suitable": 0.84,
}
"""Share of records from 2019 to 2022 on which each check was filled in."""

REMARKS = {
    "burst": ("indicator broken, no upset seen", "found open on shift change", "petals complete"),
    "leak": ("tell-tale pressure rising", "bubbles at the holder", "pinhole near the score"),
    "damage_found": ("dome dented", "wrinkled at the edge", "liner lifting"),
    "planned": ("replaced as planned", "holder cleaned"),
    "opportunity": ("line opened for other work",),
    "wrong_disc": ("tag does not match the position",),
    "failed_to_open": ("relief valve lifted, disc intact, deposits on the dome",),
}


def position_table(positions: pd.DataFrame) -> pd.DataFrame:
    """Keep what the plant knows of its positions."""
    frame = positions.loc[:, ~positions.columns.str.startswith("true_")].copy()
    frame["in_service_from"] = [iso(d) for d in frame["in_service_from"]]
    frame["certificate_required"] = np.where(frame["criticality"] == "A", "3.1", None)
    return frame


_CURVES = {"forward_plain": "-50:1.04/20:1.00/100:0.97/200:0.94"}
"""Invented, of the shape makers give; the demo's lives do not feel it."""


def disc_table() -> pd.DataFrame:
    """Write the purchasing catalogue."""
    return pd.DataFrame(
        {
            "disc_code": d.code,
            "family": d.family,
            "nominal_size": d.size,
            "material": d.material,
            "specified_burst_pressure": d.burst,
            "coincident_temperature": d.temperature,
            "range_minus_pct": d.minus_pct,
            "range_plus_pct": d.plus_pct,
            "temperature_curve": _CURVES.get(d.family),
            "max_operating_ratio": d.max_ratio,
            "unit_price": d.price,
            "lead_time_weeks": d.lead,
            "lead_time_sd_weeks": d.lead_sd,
            "minimum_order": d.minimum,
            "lot_charge": d.lot_charge,
            "test_discs": d.tests,
            "shelf_life_months": d.shelf,
            "holder_series": d.holder,
        }
        for d in DISCS
    )


def outage_table(outages: pd.DataFrame) -> pd.DataFrame:
    """Write the outages of the logged years and of those to come."""
    frame = outages[outages["starts_on"] > LOG_BEGINS - 400].reset_index(drop=True)
    ahead = frame["starts_on"] >= EXPORT
    return frame.assign(
        starts_on=[iso(d) for d in frame["starts_on"]],
        ends_on=[iso(d) for d in frame["ends_on"]],
        crew_limit=frame["turnaround_group"].map(CREW_LIMITS).where(ahead).astype("Int64"),
    )


def install_table(
    fitted: pd.DataFrame, ended: pd.DataFrame, rng: np.random.Generator
) -> pd.DataFrame:
    """Write the install records: none for one old disc in five, blanks where nobody wrote."""
    frame = fitted.merge(
        ended[["position_id", "installed_on", "found_on"]],
        on=["position_id", "installed_on"],
        how="left",
    )
    seen = frame["found_on"].fillna(EXPORT) >= LOG_BEGINS
    old = frame["installed_on"] < LOG_BEGINS
    frame = frame[seen & (~old | (rng.random(len(frame)) < 0.80))]
    frame = frame.sort_values(["installed_on", "position_id"], kind="stable").reset_index(drop=True)
    written = frame["installed_on"].to_numpy()
    table = pd.DataFrame({"install_id": [f"I{k + 1:05d}" for k in range(len(frame))]})
    table["position_id"] = frame["position_id"]
    table["installed_on"] = [iso(d) for d in written]
    table["disc_code"] = frame["disc_code"]
    table["lot"] = frame["lot"].where(rng.random(len(frame)) < 0.95)
    table["marked_burst_pressure"] = frame["marked"].where(rng.random(len(frame)) < 0.93)
    table["crew"] = frame["crew"].where(rng.random(len(frame)) < 0.96)
    table["holder_id"] = "HD-" + frame["position_id"]
    _write_checks(table, frame, rng)
    _write_torque(table, frame, rng)
    return table


def _write_checks(table: pd.DataFrame, frame: pd.DataFrame, rng: np.random.Generator) -> None:
    written = frame["installed_on"].to_numpy()
    era = np.where(written < TORQUE_ERA, 0.68, np.where(written < PROGRAMME, 1.0, 1.12))
    filed = rng.random(len(frame)) < np.where(written < TORQUE_ERA, 0.92, 0.98)
    for check in CHECKS:
        known = filed & (rng.random(len(frame)) < np.clip(RECORDED[check] * era, 0, 0.96))
        words = np.where(frame[check].astype(bool), "no", "yes")
        table[check] = np.where(known, words, None)


def _write_torque(table: pd.DataFrame, frame: pd.DataFrame, rng: np.random.Generator) -> None:
    target = np.array([BY_CODE[c].torque for c in frame["disc_code"]])
    known = (frame["installed_on"].to_numpy() >= TORQUE_ERA) & (rng.random(len(frame)) < 0.82)
    table["torque_target"] = np.where(known, target, np.nan)
    table["torque_applied"] = np.where(known, (target * frame["torque"]).round(1), np.nan)
    orderly = np.where(rng.random(len(frame)) < 0.85, "25/50/75/100", "50/100")
    table["torque_steps"] = np.where(known, orderly, None)
    even = np.where(
        frame["gap_even"].astype(bool),
        rng.uniform(0.3, 0.9, len(frame)),
        rng.uniform(0.05, 0.25, len(frame)),
    )
    measured = known & table["gap_even"].notna() & (rng.random(len(frame)) < 0.7)
    table["gap_spread"] = np.where(measured, even.round(2), np.nan)


def removal_table(
    ended: pd.DataFrame, positions: pd.DataFrame, rng: np.random.Generator
) -> pd.DataFrame:
    """Write the removals log from its first day."""
    frame = ended[ended["found_on"] >= LOG_BEGINS]
    frame = frame.sort_values(["found_on", "position_id"], kind="stable").reset_index(drop=True)
    cost = positions.set_index("position_id")[["planned_cost", "unplanned_cost"]]
    planned, unplanned = (cost.loc[frame["position_id"], c].to_numpy() for c in cost.columns)
    sudden = frame["reason"].isin(["burst", "failed_to_open"]).to_numpy()
    slow = frame["reason"].isin(["leak", "damage_found"]).to_numpy()
    spent = np.where(sudden, unplanned, np.where(slow, planned + 0.3 * unplanned, planned))
    spent = (spent * rng.lognormal(-0.03, 0.25, len(frame))).round(-1)
    hours = np.where(
        sudden, rng.lognormal(2.4, 0.6, len(frame)), rng.lognormal(1.3, 0.5, len(frame))
    )
    words = [str(rng.choice(REMARKS[r])) if rng.random() < 0.35 else None for r in frame["reason"]]
    return pd.DataFrame(
        {
            "removal_id": [f"R{k + 1:05d}" for k in range(len(frame))],
            "position_id": frame["position_id"],
            "found_on": [iso(d) for d in frame["found_on"]],
            "last_good_on": [iso(d) or None for d in frame["last_good_on"]],
            "reason": frame["reason"],
            "upset": frame["upset"].map({True: "yes", False: "no"}),
            "peak_pressure": frame["peak_pressure"].astype(float),
            "event_group": frame["event_group"].replace("", None),
            "downtime": np.where(sudden | slow, hours.round(1), np.nan),
            "cost": np.where(rng.random(len(frame)) < 0.92, spent, np.nan),
            "remarks": words,
        }
    )
