"""Invented findings for tests of the pages: no plant, no person, no fitted model."""

from dataclasses import replace
from datetime import date

import numpy as np
import pandas as pd

from analytics.early.suspect_lots import BIN, POSITION
from analytics.estimate import Estimate
from analytics.findings import FRAMES, ChangedDuty, Findings, Installation, Model, Wear
from analytics.logs.tables import CHECKS, TABLES

BEGINS = pd.Timestamp("2017-01-01")
EXPORT = pd.Timestamp("2025-10-31")
SITES = ("Northwater", "Millbank", "Harbour End")
STORES = {"Northwater": "ST-N", "Millbank": "ST-M", "Harbour End": "ST-H"}
CODES = {
    "RS-080-10": "reverse_scored",
    "FS-100-06": "forward_scored",
    "CP-050-04": "composite",
    "GR-150-02": "graphite",
}
SERVICES = ("hot oil", "solvent vapour", "steam", "caustic")
CREWS = ("crew A", "crew B", "crew C", "crew D")


def _past_forecasts() -> pd.DataFrame:
    scores = {"discward": (0.42, 0.7), "rolling mean": (0.6, 1.0), "croston": (0.71, 1.18)}
    return pd.DataFrame(
        [
            (name, -0.1, crps, ratio, 0.52, 0.81, 0.95, 52, 4, "2025-11-01", "0123456789ab")
            for name, (crps, ratio) in scores.items()
        ],
        columns=FRAMES["past_forecasts"].split(),
    )


def sample_findings(*, positions: int = 60, seed: int = 7) -> Findings:
    """Make findings that look like a real job's, from a seed."""
    rng = np.random.default_rng(seed)
    places = _places(rng, positions)
    lives = _lives(rng, places)
    failures = _failures(rng, lives)
    return Findings(
        title="Invented sample fleet",
        past_forecasts=_past_forecasts(),
        data_version="0123456789ab",
        model_version="discward 0.1.0; two hazards; seed 7; 400 draws",
        export_date=EXPORT.date(),
        log_begins=date(2017, 1, 1),
        currency="EUR",
        rows=pd.DataFrame(
            {
                "table": list(TABLES),
                "read": [positions, 4, len(lives) + 9, len(lives) - positions, 18, 5, 12],
                "accepted": [positions, 4, len(lives) + 5, len(lives) - positions - 6, 17, 5, 12],
                "quarantined": [0, 0, 4, 6, 1, 0, 0],
            }
        ),
        quarantine=_quarantine(),
        lives=lives,
        endings=lives["ending"].value_counts().to_dict(),
        life_curve=_life_curve(),
        hazard_curve=_hazard_curve(),
        model=Model(
            name="two hazards, Weibull wear",
            why="Its cross-validated log score beats the regression by 12.4.",
            fit_statement="Observed and expected failures agree in 9 of 10 age bands.",
            lives=len(lives),
            failures=len(failures),
            ratio_definition="min_burst: operating pressure over marked less burst tolerance",
        ),
        installation=Installation(
            share_of_premature=Estimate(estimate=0.31, low=0.24, high=0.38),
            failures_owed=Estimate(
                estimate=0.31 * len(failures), low=0.24 * len(failures), high=0.38 * len(failures)
            ),
            share_all_unclear=Estimate(estimate=0.29, low=0.22, high=0.36),
            share_no_unclear=Estimate(estimate=0.33, low=0.25, high=0.41),
            shape=Estimate(estimate=0.6, low=0.5, high=0.7),
            defects=_defects(len(failures)),
            failures=failures,
        ),
        wear=Wear(
            shape=Estimate(estimate=2.2, low=1.8, high=2.7),
            ratio_exponent=Estimate(estimate=6.1, low=4.2, high=8.0),
            cycle_exponent=Estimate(estimate=0.42, low=0.28, high=0.57),
            changed_duty=ChangedDuty(
                lives=41,
                failures=17,
                ratio_exponent=Estimate(estimate=4.0, low=2.9, high=5.2),
                cycle_exponent=Estimate(estimate=0.40, low=0.25, high=0.55),
            ),
        ),
        what_if=_what_if(len(failures)),
        owed_by_year=_owed_by_year(len(failures)),
        fitting=_fitting(),
        crews=_crews(),
        sites=_sites(),
        lots=_lots(),
        lot_places=_lot_places(),
        counts_alone=_counts_alone(),
        duty=_duty(rng, places),
        duty_quarters=_duty_quarters(),
        intervals=_intervals(rng, places),
        interval_curves=_interval_curves(places),
        overdue=pd.DataFrame(
            {
                "position_id": ["P-001", "P-011", "P-018", "P-002"],
                "limit": ["cap", "cap", "cap", "recommended age"],
                "over_today_months": [3.0, 14.0, -2.0, 5.0],
                "next_outage": pd.Timestamp("2026-05-01"),
                "over_then_months": [9.0, 20.0, 4.0, 11.0],
            }
        ),
        policies=_policies(),
        pooled=pd.DataFrame(
            {
                "disc_code": ["D-100"],
                "stores": [2],
                "apart": [6],
                "together": [4],
                "saved": [2],
                "value": [800.0],
            }
        ),
        placing=pd.DataFrame(
            {
                "disc_code": ["D-100"],
                "store": ["north"],
                "held": [3],
                "best": [4],
                "next": [True],
            }
        ),
        budget=pd.DataFrame(
            {
                "spent": [0.0, 400.0],
                "service": [0.97, 0.98],
                "store": [None, "north"],
                "disc_code": [None, "D-100"],
                "pieces": [0, 4],
                "gain_per_cost": [float("nan"), 2.5e-5],
            }
        ),
        outage_plan=pd.DataFrame(
            {
                "position_id": ["P-001"],
                "disc_code": ["D-100"],
                "store": ["north"],
                "turnaround_group": ["north-a"],
                "outage_on": [pd.Timestamp("2025-09-01")],
            }
        ),
        outage_groups=pd.DataFrame(
            {
                "turnaround_group": ["north-a"],
                "positions": [6],
                "outages": [3],
                "own_outages": [1],
                "cost": [41_000.0],
                "cost_without_limits": [40_200.0],
            }
        ),
        **_watched(),
        moves=pd.DataFrame(
            {
                "from_store": ["central"],
                "to_store": ["north"],
                "disc_code": ["D-100"],
                "lot": ["L7"],
                "for_code": ["D-100"],
                "pieces": [2],
                "reason": ["north is 2 short of its reorder point; central can miss them"],
            }
        ),
        kits=pd.DataFrame(
            {
                "turnaround_group": ["north-a"],
                "starts_on": [pd.Timestamp("2025-09-01")],
                "store": ["north"],
                "disc_code": ["D-100"],
                "planned": [4],
                "reserve": [1],
                "needed": [5],
                "in_hand": [3],
                "missing": [2],
                "freeze_on": [pd.Timestamp("2025-06-01")],
                "days_to_freeze": [92],
            }
        ),
        dead_stock=pd.DataFrame(
            {
                "store": ["north"],
                "disc_code": ["D-900"],
                "lot": ["L1"],
                "quantity": [3],
                "value": [900.0],
                "note": ["no position uses this code"],
            }
        ),
        stock_remarks=pd.DataFrame(
            {
                "what": ["expired stock"],
                "store": ["north"],
                "disc_code": ["D-100"],
                "detail": ["2 pieces expired on 2025-01-31; not counted"],
                "mend": ["have them inspected and recertified by the maker, or scrap them"],
            }
        ),
        spares=_spares(),
        demand_weekly=_demand_weekly(),
        dangerous=pd.DataFrame(
            {
                "position_id": ["P-007"],
                "date": [pd.Timestamp("2023-04-18")],
                "what": ["did not open at 11.9 barg; marked 10.2 barg"],
            }
        ),
        dangerous_bound=Estimate(estimate=0.0021, low=0.0001, high=0.0117),
        trend=_trend(rng),
        costs=pd.DataFrame(
            {
                "year": range(2017, 2026),
                "premature_cost": [610e3, 640e3, 590e3, 560e3, 480e3, 430e3, 350e3, 330e3, 260e3],
                "owed_cost": [220e3, 230e3, 205e3, 190e3, 140e3, 120e3, 80e3, 70e3, 52e3],
                "planned_cost": [90e3, 95e3, 88e3, 99e3, 104e3, 101e3, 97e3, 103e3, 84e3],
            }
        ),
        data_quality=_data_quality(),
        inferred=(
            "41 discs were already in service when the removals log began; they enter at that age.",
            "12 install dates were taken from the removal before them.",
        ),
        cautions=(
            "Cycles are counted on a compressed historian at 8 positions and are lower bounds.",
            "expired stock (ST-N, GR-150-02): 2 pieces expired on 2025-08-13; not counted",
            "Two positions run above the operating ratio their disc allows.",
        ),
        not_answered={
            "past forecast error of GR-150-02": "only one replacement in the log's last two years",
        },
    )


def empty_findings() -> Findings:
    """Give findings of logs that answered nothing: every frame bare, every model None."""
    full = sample_findings(positions=6)
    bare = {
        name: getattr(full, name).iloc[:0]
        for name in Findings.__dataclass_fields__
        if isinstance(getattr(full, name), pd.DataFrame)
    }
    reason = "no premature failure is on record"
    return replace(
        full,
        **bare,
        endings={},
        model=None,
        installation=None,
        wear=None,
        interval_curves={},
        dangerous_bound=None,
        inferred=(),
        cautions=(),
        not_answered={"installation": reason, "intervals": reason, "spares": "no stock table"},
    )


def _watched() -> dict[str, pd.DataFrame]:
    on = pd.date_range("2017-01-31", "2025-10-31", freq="ME")
    months = np.arange(len(on))
    fell = np.minimum(months, 70) * 1.0 + np.maximum(months - 70, 0) * 0.5
    signal = {"since": pd.Timestamp("2022-11-30"), "signalled_on": pd.Timestamp("2023-08-11")}
    signal |= {"until": EXPORT, "still": True}
    return {
        "watch": pd.DataFrame(
            [
                {"chart": "records", "kind": "all", "group": "all", "direction": "fell"}
                | signal
                | {"observed": 18.0, "expected": 35.0, "rate_ratio": 0.51, "low": 0.3}
                | {
                    "high": 0.81,
                    "other_observed": np.nan,
                    "other_expected": np.nan,
                    "wear_too": False,
                },
                {"chart": "failures", "kind": "site", "group": "Millbank", "direction": "rose"}
                | signal
                | {"observed": 21.4, "expected": 10.2, "rate_ratio": 2.1, "low": 1.3}
                | {"high": 3.2, "other_observed": 8.0, "other_expected": 7.4, "wear_too": False},
            ]
        ),
        "watch_charts": pd.DataFrame(
            {
                "chart": ["failures", "failures", "records"],
                "kind": ["all", "site", "all"],
                "group": ["all", "Millbank", "all"],
                "events": [88.0, 31.0, 410.0],
                "per_year": [9.0, 3.2, 45.0],
                "rise": [0.1, 1.2, 0.0],
                "fall": [0.2, 0.0, 1.4],
                "months_to_rise": [31.0, 140.0, 9.0],
                "months_to_fall": [62.0, 260.0, 17.0],
            }
        ),
        "watch_path": pd.concat(
            [
                pd.DataFrame(
                    {"chart": chart, "kind": kind, "group": group, "on": on}
                    | {"observed": fell, "expected": months * 1.0, "difference": fell - months}
                    | {"rise": 0.0, "fall": np.clip((months - 70) / 30, 0, None)}
                )
                for chart, kind, group in (
                    ("records", "all", "all"),
                    ("failures", "all", "all"),
                    ("failures", "site", "Millbank"),
                )
            ],
            ignore_index=True,
        ),
        "programmes": pd.DataFrame(
            [
                {"programme": "torque school", "starts_on": pd.Timestamp("2023-01-01")}
                | {"measure": measure, "observed_before": 61.0, "expected_before": 55.0}
                | {"observed_since": 14.0, "expected_since": 24.0, "change": 0.55}
                | {"change_low": 0.3, "change_high": 0.95, "rest": 0.9, "rest_low": 0.6}
                | {"rest_high": 1.3, "net": 0.61, "net_low": 0.31, "net_high": net_high}
                | {"note": ""}
                for measure, net_high in (("failures", 1.15), ("records", 0.92))
            ]
        ),
        "record_next": pd.DataFrame(
            {
                "check": ["gap_even", "studs_good"],
                "about": ["gap uneven", "studs worn or dirty"],
                "recorded_pct": [62.0, 55.0],
                "failures_owed": [14.0, 2.0],
                "now_low": [8.0, -2.0],
                "now_high": [21.0, 7.0],
                "then_low": [10.0, -1.0],
                "then_high": [18.5, 5.5],
                "width": [0.65, 0.72],
                "effect_width": [0.8, 0.85],
                "total_width": [0.93, 0.97],
            }
        ),
    }


def _places(rng: np.random.Generator, positions: int) -> pd.DataFrame:
    codes = list(CODES)
    places = pd.DataFrame(
        {
            "position_id": [f"P-{number:03d}" for number in range(1, positions + 1)],
            "site": [SITES[number % 3] for number in range(positions)],
            "service": rng.choice(SERVICES, positions),
            "disc_code": rng.choice(codes, positions),
            "criticality": rng.choice(["A", "B", "C"], positions),
            "operating_ratio": rng.uniform(0.55, 0.93, positions),
        }
    )
    places["unit"] = places["site"].str[:1] + "-" + (places.index % 4 + 1).astype(str)
    places["store"] = places["site"].map(STORES)
    places["family"] = places["disc_code"].map(CODES)
    return places


def _lives(rng: np.random.Generator, places: pd.DataFrame) -> pd.DataFrame:
    kinds = ["premature", "planned", "demand", "unclear", "opportunity"]
    rows = []
    for place in places.itertuples():
        start = pd.Timestamp("2015-01-01") + pd.Timedelta(days=int(rng.integers(0, 900)))
        while start < EXPORT:
            end = start + pd.Timedelta(days=int(365.25 * 2.4 * rng.weibull(1.6)) + 20)
            ending = str(rng.choice(kinds, p=[0.34, 0.42, 0.1, 0.06, 0.08]))
            if end > EXPORT:
                end, ending = EXPORT, "in_service"
            if end > BEGINS:
                rows.append(_life(rng, place, len(rows) + 1, start, end, ending))
            start = end
    lives = pd.DataFrame(rows)
    return lives.astype({check: "boolean" for check in CHECKS})


def _life(
    rng: np.random.Generator,
    place: object,
    number: int,
    start: pd.Timestamp,
    end: pd.Timestamp,
    ending: str,
) -> dict[str, object]:
    age = (end - start).days / 365.25
    checks = {check: None if rng.random() < 0.15 else bool(rng.random() > 0.1) for check in CHECKS}
    recorded = [value for value in checks.values() if value is not None]
    columns = "position_id site unit service store criticality disc_code family operating_ratio"
    return {
        "life_id": f"I-{number:04d}",
        **{name: getattr(place, name) for name in columns.split()},
        "lot": f"L{number % 9:02d}",
        "crew": str(rng.choice(CREWS)),
        "holder_id": f"H-{number % 70:03d}",
        "install_id": f"I-{number:04d}",
        "removal_id": None if ending == "in_service" else f"R-{number:04d}",
        "event_group": None,
        "installed_on": start,
        "ended_on": end,
        "ending": ending,
        "reason": {"premature": "burst", "demand": "burst", "in_service": None}.get(ending, ending),
        "observed_from": max(start, BEGINS),
        "entry_years": max(0.0, (BEGINS - start).days / 365.25),
        "age_years": age,
        "lower_years": age,
        "upper_years": age if ending == "premature" else np.inf,
        "age_known": True,
        "ratio_basis": "tag",
        "pressure_basis": "history",
        "cycles_per_year": float(rng.lognormal(6, 1)),
        "cycles_basis": "rainflow",
        **checks,
        "torque_not_low": bool(rng.random() > 0.08),
        "torque_not_high": bool(rng.random() > 0.05),
        "checks_passed": sum(recorded),
        "checks_recorded": len(recorded),
        "cost": float(rng.uniform(2e3, 4e4)) if ending != "in_service" else np.nan,
        "downtime_h": float(rng.uniform(2, 40)) if ending == "premature" else np.nan,
        "peak_pressure_barg": 8.1 if ending == "premature" else np.nan,
        "marked_burst_pressure_barg": 10.2,
        "minimum_burst_bar": 9.69,
        "maximum_burst_bar": 10.71,
        "back_pressure_barg": np.nan,
        "inferred": "",
    }


def _failures(rng: np.random.Generator, lives: pd.DataFrame) -> pd.DataFrame:
    failures = lives[lives["ending"] == "premature"].sort_values("ended_on", ascending=False)
    share = rng.beta(1.2, 2.4, len(failures))
    keep = ["life_id", "position_id", "site", "disc_code", "crew", "lot", "ended_on"]
    return (
        failures[keep]
        .assign(
            age_years=failures["lower_years"],
            percentile=rng.uniform(0.01, 0.9, len(failures)),
            share=share,
            share_low=np.maximum(share - 0.12, 0),
            share_high=np.minimum(share + 0.14, 1),
            main_defect=rng.choice([*CHECKS[:8], "torque_low"], len(failures)),
            defects_found=rng.choice(["gap_even", "seat_clean, gap_even", ""], len(failures)),
            rivals="wear: ratio 0.88 is above the fleet's median 0.74",
            advice="Measure the gap at four points after every step and write it down.",
        )
        .reset_index(drop=True)
    )


def _defects(failures: int) -> pd.DataFrame:
    rows = [
        ("gap_even", "gap uneven", 1.62, 0.41, 0.09, 78, 12),
        ("torque_not_low", "torque too low", 1.31, 0.39, 0.07, 81, 8),
        ("seat_clean", "seat not clean", 1.12, 0.35, 0.06, 84, 11),
        (
            "finger_tight_start",
            "torque before the nuts were finger-tight",
            0.71,
            0.34,
            0.04,
            72,
            10,
        ),
        ("studs_lubricated", "studs not lubricated", 0.42, 0.33, 0.03, 69, 9),
        ("flow_direction", "disc the wrong way round", 0.3, 0.5, 0.01, 90, 1),
        ("gasket_suitable", "gasket unsuitable", 0.1, 0.3, 0.005, 75, 7),
    ]
    return pd.DataFrame(
        {
            "check": check,
            "about": about,
            "mend": "measure the gap at four points after every step and write it down",
            "log_effect": effect,
            "log_effect_low": effect - 1.96 * error,
            "log_effect_high": effect + 1.96 * error,
            "failures_owed": share * failures,
            "failures_owed_low": max(0.0, share - 0.04) * failures,
            "failures_owed_high": (share + 0.05) * failures,
            "recorded_pct": float(recorded),
            "defect_pct": float(found),
            "owed_per_year": share * failures / 8.8,
            "owed_per_year_low": max(0.0, share - 0.04) * failures / 8.8,
            "owed_per_year_high": (share + 0.05) * failures / 8.8,
            "cost_owed": share * 3.2e6,
            "cost_owed_low": max(0.0, share - 0.04) * 3.2e6,
            "cost_owed_high": (share + 0.05) * 3.2e6,
            "not_priced": 0.0,
        }
        for check, about, effect, error, share, recorded, found in rows
    )


def _what_if(failures: int) -> pd.DataFrame:
    rows = [
        ("clean", "every disc fitted clean", 0.29, 0.05, "", ""),
        ("best practice", "every crew as the best quarter", 0.14, 0.04, "", "gap uneven on 6 %"),
        (
            "ratio",
            "operating ratio lowered at the 10 hardest positions",
            0.08,
            0.02,
            "P-003 P-012",
            "lowered to 0.74 (reverse scored)",
        ),
        ("gap_even", "mended: gap uneven", 0.11, 0.03, "", ""),
        ("seat_clean", "mended: seat not clean", 0.07, 0.03, "", ""),
        ("gasket_suitable", "mended: gasket unsuitable", 0.01, 0.03, "", ""),
    ]
    table = pd.DataFrame(rows, columns=["change", "about", "share", "width", "positions", "note"])
    for end, sign in (("", 0), ("_low", -1), ("_high", 1)):
        share = table["share"] + sign * table["width"]
        table[f"share{end}"] = share
        table[f"avoided{end}"] = share * failures
        table[f"per_year{end}"] = share * failures / 8.8
        table[f"money{end}"] = share * 3.2e6
    return table.assign(
        not_then=1.05 * table["avoided"],
        not_priced=0.0,
        avoided_all_unclear=0.95 * table["avoided"],
        avoided_no_unclear=1.04 * table["avoided"],
    )[FRAMES["what_if"].split()]


def _owed_by_year(failures: int) -> pd.DataFrame:
    owed = _defects(failures)
    names = FRAMES["owed_by_year"].split()
    years = [owed.assign(year=year) for year in range(2017, 2026)]
    table = pd.concat(years, ignore_index=True)[names]
    numbers = [name for name in names if name not in ("year", "check", "about")]
    return table.assign(**{name: table[name] / len(years) for name in numbers})


def _fitting() -> pd.DataFrame:
    groups = [("fleet", "all"), *(("site", site) for site in SITES)]
    groups += [("crew", crew) for crew in CREWS]
    groups += [("year", str(year)) for year in range(2017, 2026)]
    added = np.linspace(9.0, 3.0, len(groups))
    few = np.array([name == CREWS[-1] for _, name in groups])
    numbers = {
        "passed": np.linspace(0.85, 0.95, len(groups)),
        "avoided": 2 * added,
        "avoided_low": 1.5 * added,
        "avoided_high": 2.6 * added,
        "per_100": added,
        "per_100_low": 0.8 * added,
        "per_100_high": 1.3 * added,
    }
    table = pd.DataFrame({"of": [of for of, _ in groups], "name": [name for _, name in groups]})
    return table.assign(
        installs=60,
        failures=np.where(few, 3.0, 20.0),
        note=np.where(few, "fewer than 5 events: no number shown", ""),
        **{name: np.where(few, np.nan, values) for name, values in numbers.items()},
    )[FRAMES["fitting"].split()]


def _life_curve() -> pd.DataFrame:
    ages = np.linspace(0, 8, 60)
    survival = np.exp(-((ages / 4.1) ** 1.6))
    return pd.DataFrame(
        {
            "age_years": ages,
            "survival": survival,
            "low": np.maximum(survival - 0.05 * ages / 4, 0),
            "high": np.minimum(survival + 0.05 * ages / 4, 1),
            "at_risk": np.linspace(240, 3, 60).astype(int),
            "events": 2,
        }
    )


def _hazard_curve() -> pd.DataFrame:
    ages = np.linspace(0.05, 8, 80)
    wear = 2.2 / 5 * (ages / 5) ** 1.2
    return pd.DataFrame(
        {
            "age_years": ages,
            "installation": 0.05 * ages**-0.45,
            "wear": wear,
            "clean": wear + 0.02 * ages**-0.45,
        }
    )


def _crews() -> pd.DataFrame:
    return pd.DataFrame(
        {
            "crew": CREWS,
            "events": [19, 22, 11, 3],
            "expected": [18.2, 14.1, 13.0, 4.0],
            "rate_ratio": [1.03, 1.41, 0.88, np.nan],
            "low": [0.71, 1.04, 0.55, np.nan],
            "high": [1.45, 1.93, 1.32, np.nan],
            "flagged": [False, True, False, False],
            "note": ["", "harder positions are already allowed for", "", "fewer than 5 events"],
        }
    )


def _sites() -> pd.DataFrame:
    return pd.DataFrame(
        {
            "site": SITES,
            "events": [31, 20, 4],
            "expected": [24.0, 27.5, 3.5],
            "rate_ratio": [1.26, 0.75, np.nan],
            "low": [0.9, 0.5, np.nan],
            "high": [1.7, 1.1, np.nan],
            "flagged": [False, False, False],
            "note": ["", "", "fewer than 5 events: no rate shown"],
        }
    )


def _lots() -> pd.DataFrame:
    return pd.DataFrame(
        {
            "lot": ["L03", "L07", "L01"],
            "events": [9, 6, 2],
            "expected": [3.1, 5.2, 3.0],
            "rate_ratio": [2.1, 1.1, np.nan],
            "low": [1.2, 0.6, np.nan],
            "high": [3.7, 2.0, np.nan],
            "flagged": [True, False, False],
            "note": ["set its stock aside until the maker has answered", "", "fewer than 5 events"],
            "p_value": [0.0004, 0.3, 1.0],
            "suspect": [True, False, False],
            "positions": ["P-003 P-012", "P-007", ""],
            "bins": ["ST-N", "", "ST-M"],
            "in_stock": [4, 0, 2],
            "what_else": ["4 of its 9 failures share crew crew B", "", ""],
        }
    )


def _counts_alone() -> pd.DataFrame:
    return pd.DataFrame(
        {
            "check": ["gap_even", "seat_clean"],
            "about": ["gap uneven", "seat not clean"],
            "with_defect": [10, 5],
            "failed_with": [6, 1],
            "without_defect": [40, 45],
            "failed_without": [4, 0],
            "relative_risk": [6.0, np.inf],
            "relative_risk_low": [2.1, 0.0],
            "relative_risk_high": [17.3, np.inf],
            "odds_ratio": [13.5, np.inf],
            "odds_ratio_low": [2.0, 0.2],
            "odds_ratio_high": [93.5, np.inf],
            "risk_difference": [0.5, 0.2],
            "risk_difference_low": [0.18, 0.01],
            "risk_difference_high": [0.74, 0.6],
            "p_value": [0.0019872, 0.1],
        }
    )


def _lot_places() -> pd.DataFrame:
    return pd.DataFrame(
        {
            "lot": ["L03"] * 3,
            "store": ["ST-N", "ST-N", "ST-N"],
            "position_id": ["", "P-003", "P-012"],
            "disc_code": ["RS-080-10"] * 3,
            "pieces": [4, 1, 1],
            "since": [EXPORT - pd.Timedelta(days=700)] * 3,
            "action": [BIN, POSITION, POSITION],
        }
    )


def _duty_quarters() -> pd.DataFrame:
    begins = pd.date_range("2024-01-01", periods=4, freq="QS")
    return pd.DataFrame(
        {
            "install_id": "I-0001",
            "position_id": "P-001",
            "from_on": begins,
            "to_on": begins + pd.offsets.QuarterBegin(startingMonth=1),
            "from_years": [0.0, 0.25, 0.5, 0.75],
            "to_years": [0.25, 0.5, 0.75, 1.0],
            "coverage": [0.0, 0.98, 1.0, 0.97],
            "operating_ratio": [0.7, 0.64, 0.65, 0.78],
            "mean_ratio": [0.7, 0.55, 0.57, 0.69],
            "pressure_basis": ["nominal", "history", "history", "history"],
            "share_above_limit": [np.nan, 0.0, 0.0, 0.21],
            "cycles_per_year": [np.nan, 12.0, 16.0, 44.0],
            "temperature_degc": [np.nan, 61.0, 63.0, 70.0],
            "damage": [np.nan, 0.001, 0.0012, 0.006],
        }
    )


def _duty(rng: np.random.Generator, places: pd.DataFrame) -> pd.DataFrame:
    limit = places["family"].map({"reverse_scored": 0.9, "composite": 0.8}).fillna(0.85)
    above = places["operating_ratio"] > limit
    return places[["position_id", "site", "disc_code", "family", "operating_ratio"]].assign(
        limit=limit,
        margin_bar=(limit - places["operating_ratio"]) * 10,
        share_above_limit=np.where(above, rng.uniform(0.01, 0.3, len(places)), 0.0),
        cycles_per_year=rng.lognormal(6, 1, len(places)),
        ratio_basis="tag",
        pressure_basis="history",
        alarm=np.where(above, "runs above the ratio its disc allows", ""),
    )


def _intervals(rng: np.random.Generator, places: pd.DataFrame) -> pd.DataFrame:
    count = len(places)
    age = rng.integers(9, 48, count).astype(float)
    proposal = rng.choice(["shorten", "keep", "ask"], count, p=[0.25, 0.6, 0.15])
    replace_on = EXPORT + pd.to_timedelta(rng.integers(20, 900, count), unit="D")
    return places[["position_id", "site", "disc_code"]].assign(
        age_months=age,
        age_low=age - 4,
        age_high=age + 7,
        cap_months=48.0,
        today_age_months=np.where(proposal == "shorten", age + 10, age),
        replace_on=replace_on,
        premature_probability=rng.uniform(0.02, 0.35, count),
        cost_per_year=rng.uniform(900, 4000, count),
        cost_today=rng.uniform(1200, 5200, count),
        proposal=proposal,
        note=np.where(proposal == "ask", "longer than the log has seen at this ratio", ""),
        overdue=rng.random(count) < 0.06,
    )


def _policies() -> pd.DataFrame:
    return pd.DataFrame(
        {
            "policy": ["today", "proposed", "run to failure"],
            "planned_per_year": [30.0, 44.0, 0.0],
            "premature_per_year": [11.0, 7.0, 16.0],
            "premature_low": [9.8, 6.1, 14.6],
            "premature_high": [12.5, 8.2, 17.9],
            "discs_per_year": [45.0, 55.0, 22.0],
            "cost_per_year": [480e3, 405e3, 590e3],
            "cost_low": [450e3, 380e3, 560e3],
            "cost_high": [510e3, 433e3, 625e3],
            "saving": [0.0, 75e3, -110e3],
            "saving_low": [0.0, 61e3, -140e3],
            "saving_high": [0.0, 88e3, -82e3],
            "probability_cheaper": [0.0, 1.0, 0.0],
        }
    )


def _interval_curves(places: pd.DataFrame) -> dict[str, pd.DataFrame]:
    ages = np.arange(3.0, 61.0, 3.0)
    cost = 9000 / ages + 55 * (ages / 12) ** 1.9 * 3
    frame = pd.DataFrame(
        {
            "age_months": ages,
            "cost_per_year": cost,
            "low": cost * 0.9,
            "high": cost * 1.13,
            "premature_probability": 1 - np.exp(-((ages / 50) ** 2.2)),
        }
    )
    return {position: frame for position in places["position_id"].head(12)}


def _spares() -> pd.DataFrame:
    rows = []
    for number, (store, code) in enumerate((s, c) for s in STORES.values() for c in CODES):
        usable, mean = number % 7, 2.2 + number % 4
        order_now = usable + (number % 3) < mean
        rows.append(
            {
                "store": store,
                "disc_code": code,
                "weeks": 12,
                "mean": mean,
                "p50": round(mean),
                "p90": round(mean) + 2,
                "p95": round(mean) + 3,
                "planned": mean * 0.5,
                "premature": mean * 0.3,
                "upset": mean * 0.15,
                "fitting": mean * 0.05,
                "usable_stock": usable,
                "stock": usable + number % 2,
                "on_order": number % 3,
                "reorder_point": round(mean) + 2,
                "order_quantity": 6 if order_now else 0,
                "order_now": order_now,
                "order_by": EXPORT + pd.Timedelta(days=4 * number - 6),
                "criticality": "ABC"[number % 3],
                "target": 0.99,
                "service": 0.95,
                "cost": 6 * 480.0 + 300 if order_now else 0.0,
                "reason": (
                    f"{usable} usable and {number % 3} on order against {round(mean) + 2} needed"
                    " before the next lot can arrive"
                    if order_now
                    else "stock and orders cover the lead time"
                ),
            }
        )
    return pd.DataFrame(rows)


def _demand_weekly() -> pd.DataFrame:
    weeks = pd.date_range(EXPORT, periods=26, freq="7D")
    rows = []
    for number, (store, code) in enumerate((s, c) for s in STORES.values() for c in CODES):
        for week, start in enumerate(weeks):
            mean = (0.12 + 0.02 * (number % 4)) * (week + 1)
            rows.append(
                {
                    "store": store,
                    "disc_code": code,
                    "week_start": start,
                    "mean": mean,
                    "p50": np.floor(mean),
                    "p90": np.ceil(mean + 1.2),
                    "p95": np.ceil(mean + 1.8),
                    "stock": float(number % 7 + (2 if week > 8 else 0)),
                }
            )
    return pd.DataFrame(rows)


def _trend(rng: np.random.Generator) -> pd.DataFrame:
    rows = []
    for place, scale in zip(("all", *SITES), (1.0, 1.2, 0.9, 0.8), strict=True):
        for number, year in enumerate(range(2017, 2026)):
            years = 60.0 if place == "all" else 20.0
            rate = scale * (15 - 1.1 * number)
            events = round(rate * years / 100)
            rows.append(
                {
                    "year": year,
                    "site": place,
                    "disc_years": years,
                    "premature": events,
                    "rate": 100 * events / years,
                    "low": max(0.0, 100 * (events - 1.9 * np.sqrt(events + 1)) / years),
                    "high": 100 * (events + 2.4 * np.sqrt(events + 1)) / years,
                    "install_quality": 0.78 + 0.018 * number + rng.normal(0, 0.005),
                }
            )
    return pd.DataFrame(rows)


def _data_quality() -> pd.DataFrame:
    measures = {"install date": 0.9, "torque": 0.6, "peak pressure": 0.4, "gap_even": 0.55}
    return pd.DataFrame(
        {"year": year, "measure": measure, "share": min(0.99, share + 0.03 * (year - 2017))}
        for year in range(2017, 2026)
        for measure, share in measures.items()
    )


def _quarantine() -> pd.DataFrame:
    rows = [
        ("removals", 118, "found_on", "31/02/2021", "not_a_date", "a day that exists, ISO"),
        ("removals", 203, "reason", "blown??", "unknown_word", "one of burst, leak, planned ..."),
        ("installs", 77, "torque_applied", "-40", "out_of_range", "at least 0"),
        ("installs", 140, "position_id", "", "missing", "a position that is in positions"),
        ("stock", 9, "quantity", "2.5", "not_a_whole_number", "a whole number"),
    ]
    return pd.DataFrame(
        {
            "table": table,
            "file": f"{table}.csv",
            "line": line,
            "column": column,
            "value": value,
            "reason": reason,
            "required": required,
            "mend": f"write {required} in {column} and read the folder again",
            "raw": f"...,{value},...",
        }
        for table, line, column, value, reason, required in rows
    )
