"""Do the tables agree with each other? Unknown codes are kept out, oddities asked about."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from analytics.logs.checking import CheckedTable, accepted
from analytics.logs.refusals import Finding, Reason, Refusal
from analytics.logs.settings import Renamed

__all__ = ["ask", "keep_out_unknown", "rename_positions"]

_DATE_OF = {"installs": "installed_on", "removals": "found_on"}
_SHOWN = 5


def rename_positions(checked: CheckedTable, renamed: Sequence[Renamed]) -> CheckedTable:
    """Give rows written under a position's old name its present one."""
    dated = _DATE_OF.get(checked.table.name)
    if dated is None or not renamed:
        return checked
    frame = checked.frame.copy()
    names = frame["position_id"].copy()
    for item in renamed:
        old = names == item.was
        if item.until is not None:
            old &= frame[dated] < pd.Timestamp(item.until)
        frame.loc[old, "position_id"] = item.now
    return replace(checked, frame=frame)


def keep_out_unknown(tables: Mapping[str, CheckedTable]) -> dict[str, CheckedTable]:
    """Quarantine rows whose position or disc code is on no list.

    A position with an unknown disc code stays, since its installs carry their
    own; `ask` names it.
    """
    positions = tables["positions"]
    discs = tables["discs"]
    result = dict(tables)
    for name in ("installs", "removals"):
        if name in result:
            result[name] = _unknown(result[name], "position_id", positions, Reason.UNKNOWN_POSITION)
    for name in ("installs", "stock", "orders"):
        if name in result:
            result[name] = _unknown(result[name], "disc_code", discs, Reason.UNKNOWN_DISC_CODE)
    return result


def _unknown(
    checked: CheckedTable, column: str, owner: CheckedTable, reason: Reason
) -> CheckedTable:
    listed = set(accepted(owner)[column])
    held = set(owner.frame[column].dropna()) - listed
    by_folded = {_fold(str(name)): str(name) for name in listed}
    good = accepted(checked)
    strange = good.loc[~good[column].isin(listed), column]
    findings = list(checked.findings)
    for name, rows in strange.groupby(strange).groups.items():
        mend = f"add {name!r} to {owner.table.name}, or mend it here"
        if name in held:
            mend = f"its row in {owner.table.name} is in quarantine: mend that one first"
        elif _fold(str(name)) in by_folded:
            mend = f"is it {by_folded[_fold(str(name))]!r}? mend it, or map it under [words]"
        elif column == "position_id":
            mend += ", or name its present one under [[renamed]] in logs.toml"
        refusal = Refusal(reason=reason, required=f"a {column} of {owner.table.name}", mend=mend)
        where = np.asarray(rows, dtype=np.int64)
        findings.append(Finding(rows=where, column=column, refusal=refusal))
    return replace(checked, findings=tuple(findings))


def _fold(name: str) -> str:
    """Reduce a code to its letters and digits, to find near misses."""
    return "".join(character for character in name.casefold() if character.isalnum())


def ask(tables: Mapping[str, pd.DataFrame], *, log_begins: date | None = None) -> list[str]:
    """Ask about what is possible but odd; nothing is changed.

    Parameters
    ----------
    tables : mapping of str to DataFrame
        The accepted rows of every table.
    log_begins : date or None
        First day on which every removal was recorded, when it is declared.

    Returns
    -------
    list of str
        One sentence each, with the first few rows it is about.
    """
    installs, removals = tables["installs"], tables["removals"]
    positions, discs = tables["positions"], tables["discs"]
    questions = [
        _positions_without_disc(positions, discs),
        _wrong_discs(installs, positions),
        _before_service(installs, positions),
        _before_the_log(removals, log_begins),
        _removals_before_install(installs, removals),
        _two_installs_in_a_row(installs, removals),
        _two_removals_in_a_row(installs, removals),
        _zero_days(installs, removals),
        _twin_stock(tables["stock"]),
        _marked_outside_range(installs, discs),
    ]
    return [question for question in questions if question]


def _question(mask: pd.Series, ids: pd.Series, text: str) -> str:
    found = [str(value) for value in ids[mask.to_numpy(dtype=bool)]]
    if not found:
        return ""
    more = f" and {len(found) - _SHOWN} more" if len(found) > _SHOWN else ""
    return f"{len(found)} {text}: {', '.join(found[:_SHOWN])}{more}"


def _positions_without_disc(positions: pd.DataFrame, discs: pd.DataFrame) -> str:
    unknown = ~positions["disc_code"].isin(set(discs["disc_code"]))
    return _question(
        unknown, positions["position_id"], "positions ask for a disc code that discs does not list"
    )


def _wrong_discs(installs: pd.DataFrame, positions: pd.DataFrame) -> str:
    wanted = installs["position_id"].map(positions.set_index("position_id")["disc_code"])
    wrong = wanted.notna() & (wanted != installs["disc_code"])
    return _question(
        wrong,
        installs["install_id"],
        "installs have another disc code than their position asks for today",
    )


def _before_service(installs: pd.DataFrame, positions: pd.DataFrame) -> str:
    since = installs["position_id"].map(positions.set_index("position_id")["in_service_from"])
    return _question(
        installs["installed_on"] < since,
        installs["install_id"],
        "installs are older than the day their position went into service",
    )


def _before_the_log(removals: pd.DataFrame, log_begins: date | None) -> str:
    if log_begins is None:
        return ""
    return _question(
        removals["found_on"] < pd.Timestamp(log_begins),
        removals["removal_id"],
        f"removals are older than log_begins, {log_begins}",
    )


def _history(installs: pd.DataFrame, removals: pd.DataFrame) -> pd.DataFrame:
    """List installs and removals of each position in time, on one day the removal first."""
    ends = removals[["position_id", "found_on", "removal_id"]].set_axis(
        ["position_id", "day", "id"], axis=1
    )
    starts = installs[["position_id", "installed_on", "install_id"]].set_axis(
        ["position_id", "day", "id"], axis=1
    )
    both = pd.concat([ends.assign(install=False), starts.assign(install=True)], ignore_index=True)
    both = both.sort_values(["position_id", "day", "install"], kind="stable", ignore_index=True)
    return both.assign(before=both.groupby("position_id")["install"].shift())


def _removals_before_install(installs: pd.DataFrame, removals: pd.DataFrame) -> str:
    first = installs.groupby("position_id")["installed_on"].min()
    start = removals["position_id"].map(first)
    early = start.isna() | (removals["found_on"] < start)
    return _question(
        early,
        removals["removal_id"],
        "removals come before any install of their position (its age is unknown)",
    )


def _two_installs_in_a_row(installs: pd.DataFrame, removals: pd.DataFrame) -> str:
    history = _history(installs, removals)
    twice = history["install"] & history["before"].eq(True)
    return _question(
        twice,
        history["id"],
        "installs follow another install with no removal between (a removal is missing)",
    )


def _two_removals_in_a_row(installs: pd.DataFrame, removals: pd.DataFrame) -> str:
    history = _history(installs, removals)
    twice = ~history["install"] & history["before"].eq(False)
    return _question(
        twice,
        history["id"],
        "removals follow another removal with no install between "
        "(an install record is missing, or one job has two numbers)",
    )


def _zero_days(installs: pd.DataFrame, removals: pd.DataFrame) -> str:
    history = _history(installs, removals)
    fitted = pd.MultiIndex.from_frame(installs[["position_id", "installed_on"]])
    same_day = pd.MultiIndex.from_frame(history[["position_id", "day"]]).isin(fitted)
    # A removal and an install on one day are a replacement when a disc stood there before.
    nothing_before = ~history["install"] & ~history["before"].eq(True)
    return _question(
        nothing_before & same_day,
        history["id"],
        "removals ended a disc on the day it was fitted, or a disc whose install is missing",
    )


def _twin_stock(stock: pd.DataFrame) -> str:
    content = [name for name in stock if name not in ("source_file", "source_line")]
    twin = stock.duplicated(content)
    where = stock["source_file"].astype(str) + " line " + stock["source_line"].astype(str)
    return _question(twin, where, "stock rows equal an earlier one and are counted again")


def _marked_outside_range(installs: pd.DataFrame, discs: pd.DataFrame) -> str:
    low, high = _marked_limits(installs, discs)
    marked = installs["marked_burst_pressure_barg"].to_numpy()
    with np.errstate(invalid="ignore"):
        outside = (marked < low) | (marked > high)
    return _question(
        pd.Series(outside, index=installs.index),
        installs["install_id"],
        "installs have a marked burst pressure outside the disc's manufacturing range",
    )


def _marked_limits(
    installs: pd.DataFrame, discs: pd.DataFrame
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Lowest and highest marked pressure of each install's disc code. [barg]

    Burst tolerance and manufacturing range are different things; the tag may lie
    anywhere in the range, with a hair for rounding.
    """
    by_code = discs.set_index("disc_code").reindex(installs["disc_code"])
    asked = by_code["specified_burst_pressure_barg"].to_numpy()
    minus = by_code["range_minus_pct"].to_numpy() / 100
    plus = by_code["range_plus_pct"].to_numpy() / 100
    hair = 0.005 * asked
    return asked * (1 - minus) - hair, asked * (1 + plus) + hair
