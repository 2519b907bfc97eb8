"""Findings as JSON for people who join them to other systems: plain names, units in keys."""

import json
import math
from collections.abc import Iterable, Mapping
from dataclasses import asdict
from datetime import date, datetime
from typing import Any

import numpy as np
import pandas as pd

from analytics.estimate import Estimate
from analytics.findings import Findings, Installation, Model, Wear
from analytics.fleet import FLEET

__all__ = ["findings_json"]


def findings_json(findings: Findings) -> str:
    """Write findings as one JSON document.

    Parameters
    ----------
    findings : Findings
        What the job found.

    Returns
    -------
    str
        JSON without NaN; dates are ISO, an estimate is an object with `estimate`,
        `low` and `high`, and what could not be answered is null with its reason in
        `not_answered`.

    Notes
    -----
    `installation.rivals` has one object per premature failure and rival explanation, those
    the record points to first: `life_id` (the `install_id` of the disc), `rival`, `verdict`
    (points to it, not known, speaks against it), `evidence` from the record, and `settles`,
    the record that would decide.
    """
    document = {
        "title": findings.title,
        "export_date": findings.export_date,
        "log_begins": findings.log_begins,
        "currency": findings.currency,
        "data_version": findings.data_version,
        "model_version": findings.model_version,
        "rows": {row["table"]: _without(row, "table") for row in _rows(findings.rows)},
        "lives": len(findings.lives),
        "endings": dict(findings.endings),
        "model": _model(findings.model),
        "installation": _installation(findings.installation),
        "would_have_been_avoided": [_avoided(row) for row in _rows(findings.what_if)],
        "failures_owed_by_year": [_owed(row) for row in _rows(findings.owed_by_year)],
        "fitting": [_fitting(row) for row in _rows(findings.fitting)],
        "wear": _wear(findings.wear),
        "crews": [_ratio(row, "crew") for row in _rows(findings.crews)],
        "sites": [_ratio(row, "site") for row in _rows(findings.sites)],
        "lots": [
            _ratio(row, "lot")
            | {"suspect": row["suspect"], "positions": _words(row["positions"])}
            | {"bins": _words(row["bins"]), "pieces_in_stock": row["in_stock"]}
            | {"what_else": row["what_else"]}
            for row in _rows(findings.lots)
        ],
        "counts_alone": _rows(findings.counts_alone),
        "suspect_lot_places": _rows(findings.lot_places),
        "watch": [
            {key: value for key, value in row.items() if key not in ("rate_ratio", "low", "high")}
            | {
                "rate_ratio": {
                    "estimate": row["rate_ratio"],
                    "low": row["low"],
                    "high": row["high"],
                }
            }
            for row in _rows(findings.watch)
        ],
        "watch_charts": _rows(findings.watch_charts),
        "programmes": [_programme(row) for row in _rows(findings.programmes)],
        "record_next": _rows(findings.record_next),
        "spares": _rows(
            findings.spares,
            "store disc_code weeks mean mean_all_unclear mean_no_unclear p50 p90 p95 planned "
            "premature upset unclear fitting usable_stock on_order move_in reorder_point "
            "order_quantity order_now order_by reason",
        ),
        "moves": _rows(findings.moves),
        "kits": _rows(findings.kits),
        "dead_stock": _rows(findings.dead_stock),
        "stock_remarks": _rows(findings.stock_remarks),
        "pooled": _rows(findings.pooled),
        "placing": _rows(findings.placing),
        "budget": _rows(findings.budget),
        "intervals": _rows(
            findings.intervals,
            "position_id age_months cap_months replace_on premature_probability proposal note",
        ),
        "overdue": _rows(findings.overdue),
        "policies": _rows(findings.policies),
        "outage_plan": _rows(findings.outage_plan),
        "outage_groups": _rows(findings.outage_groups),
        "dangerous": _rows(findings.dangerous),
        "dangerous_per_disc_year": findings.dangerous_bound,
        "trend": {
            "premature_per_100_disc_years": {
                str(row["year"]): {
                    "estimate": row["rate"],
                    "low": row["low"],
                    "high": row["high"],
                }
                for row in _rows(findings.trend)
                if row["site"] == FLEET
            }
        },
        "inferred": list(findings.inferred),
        "cautions": list(findings.cautions),
        "not_answered": dict(findings.not_answered),
    }
    return json.dumps(_plain(document), indent=2, allow_nan=False, ensure_ascii=False) + "\n"


def _model(model: Model | None) -> dict[str, Any] | None:
    return None if model is None else asdict(model)


def _installation(found: Installation | None) -> dict[str, Any] | None:
    if found is None:
        return None
    defects = [
        {
            "check": row["check"],
            "log_effect": _interval(row, "log_effect"),
            "failures_owed": _interval(row, "failures_owed"),
            "failures_owed_per_year": _interval(row, "owed_per_year"),
            "cost_owed": _interval(row, "cost_owed"),
            "failures_not_priced": row["not_priced"],
            "recorded_pct": row["recorded_pct"],
            "flagged": row["flagged"],
        }
        for row in _rows(found.defects)
    ]
    return {
        "share_of_premature": found.share_of_premature,
        "failures_owed": found.failures_owed,
        "share_all_unclear_premature": found.share_all_unclear,
        "share_no_unclear_premature": found.share_no_unclear,
        "defects": defects,
        "rivals": _rows(found.rivals),
    }


def _avoided(row: Mapping[str, Any]) -> dict[str, Any]:
    return {
        "change": row["change"],
        "failures": _interval(row, "avoided"),
        "share_of_failures": _interval(row, "share"),
        "failures_per_year": _interval(row, "per_year"),
        "cost": _interval(row, "money"),
        "failures_not_priced": row["not_priced"],
        "failures_not_then": row["not_then"],
        "failures_all_unclear_premature": row["avoided_all_unclear"],
        "failures_no_unclear_premature": row["avoided_no_unclear"],
        "positions": _words(row["positions"]),
        "note": row["note"],
    }


def _owed(row: Mapping[str, Any]) -> dict[str, Any]:
    return {
        "year": row["year"],
        "check": row["check"],
        "failures_owed": _interval(row, "failures_owed"),
        "cost_owed": _interval(row, "cost_owed"),
    }


def _fitting(row: Mapping[str, Any]) -> dict[str, Any]:
    return {
        row["of"]: row["name"],
        "installs": row["installs"],
        "checks_passed": row["passed"],
        "failures_avoided_if_clean": _interval(row, "avoided"),
        "avoidable_in_first_year_per_100_installs": _interval(row, "per_100"),
    }


def _wear(wear: Wear | None) -> dict[str, Any] | None:
    if wear is None:
        return None
    return {
        "shape": wear.shape,
        "ratio_exponent": wear.ratio_exponent,
        "cycle_exponent": wear.cycle_exponent,
        "changed_duty": None if wear.changed_duty is None else asdict(wear.changed_duty),
    }


def _ratio(row: Mapping[str, Any], group: str) -> dict[str, Any]:
    ratio = {"estimate": row["rate_ratio"], "low": row["low"], "high": row["high"]}
    return {
        group: row[group],
        "events": row["events"],
        "rate_ratio": None if pd.isna(row["rate_ratio"]) else ratio,
        "flagged": row["flagged"],
    }


def _programme(row: Mapping[str, Any]) -> dict[str, Any]:
    plain = "programme starts_on measure observed_before expected_before observed_since"
    kept = {key: row[key] for key in f"{plain} expected_since note".split()}
    return kept | {name: _interval(row, name) for name in ("change", "rest", "net")}


def _interval(row: Mapping[str, Any], name: str) -> dict[str, Any]:
    return {"estimate": row[name], "low": row[f"{name}_low"], "high": row[f"{name}_high"]}


def _rows(frame: pd.DataFrame, columns: str = "") -> list[dict[str, Any]]:
    wanted = columns.split() or list(frame.columns)
    return [
        {str(name): value for name, value in row.items()}
        for row in frame.reindex(columns=wanted).to_dict("records")
    ]


def _without(row: Mapping[str, Any], name: str) -> dict[str, Any]:
    return {key: value for key, value in row.items() if key != name}


def _words(value: Any) -> list[str]:
    return value.split() if isinstance(value, str) else [str(word) for word in value]


def _plain(value: Any) -> Any:
    """Turn numpy, pandas, dates and estimates into what JSON has; NaN becomes null."""
    if isinstance(value, Estimate):
        return _plain(asdict(value))
    if isinstance(value, Mapping):
        return {str(key): _plain(item) for key, item in value.items()}
    if isinstance(value, np.generic):
        return _plain(value.item())
    if isinstance(value, bool | int | str) or value is None:
        return value
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    if value is pd.NaT or value is pd.NA:
        return None
    if isinstance(value, date | datetime):
        return value.isoformat()[:10]
    if isinstance(value, Iterable):
        return [_plain(item) for item in value]
    return str(value)
