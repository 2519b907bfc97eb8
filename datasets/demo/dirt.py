"""The usual dirt: records lost, rows entered twice, rows that cannot be."""

import numpy as np
import pandas as pd

__all__ = ["add_dirt", "lose_records"]


def lose_records(tables: dict[str, pd.DataFrame], rng: np.random.Generator) -> None:
    """Lose six removals and six install records, as paper gets lost."""
    for name in ("removals", "installs"):
        frame = tables[name]
        gone = rng.choice(np.arange(60, len(frame)), 6, replace=False)
        tables[name] = frame.drop(index=gone).reset_index(drop=True)


def add_dirt(tables: dict[str, pd.DataFrame], rng: np.random.Generator) -> None:
    """Add duplicates and impossible rows; every good row stays."""
    removals, installs, stock = tables["removals"], tables["installs"], tables["stock"]
    tables["removals"] = _mixed(removals, [*_twice(removals, 7, rng), *_bad_removals(removals)])
    tables["installs"] = _mixed(installs, [*_twice(installs, 9, rng), *_bad_installs(installs)])
    short = stock.iloc[4].to_dict() | {"quantity": -3}
    lost = stock.iloc[9].to_dict() | {"store": None}
    tables["stock"] = _mixed(stock, [short, lost])
    orders = tables["orders"]
    vague = orders.iloc[2].to_dict() | {"order_id": "PO-7801", "due_on": None}
    tables["orders"] = _mixed(orders, [vague])


def _twice(frame: pd.DataFrame, count: int, rng: np.random.Generator) -> list[dict]:
    return frame.iloc[np.sort(rng.choice(len(frame), count, replace=False))].to_dict("records")


def _bad_removals(frame: pd.DataFrame) -> list[dict]:
    like = [frame.iloc[k].to_dict() for k in (40, 200, 400, 600, 800, 900, 1000, 1100)]
    changes = (
        {"removal_id": "R90001", "found_on": "1917-03-14", "last_good_on": None},
        {"removal_id": "R90002", "found_on": "2027-02-11", "last_good_on": None},
        {"removal_id": "R90003", "position_id": "X99-005"},
        {"removal_id": "R90004", "found_on": None},
        {"removal_id": "R90005", "reason": "blown"},
        {"removal_id": "R90006", "found_on": "2021-02-31", "last_good_on": None},
        {"removal_id": "R90007", "upset": "maybe"},
        {"removal_id": None},
    )
    return [row | change for row, change in zip(like, changes, strict=True)]


def _bad_installs(frame: pd.DataFrame) -> list[dict]:
    like = [frame.iloc[k].to_dict() for k in (150, 350, 550, 750, 950, 1150)]
    changes = (
        {"install_id": "I90001", "position_id": None},
        {"install_id": "I90002", "disc_code": "BD-999"},
        {"install_id": "I90003", "installed_on": "2028-05-02"},
        {"install_id": "I90004", "marked_burst_pressure": -4.0},
        {"install_id": "I90005", "torque_steps": "quarter, half, full"},
        {"install_id": "I90006", "installed_on": "next week"},
    )
    return [row | change for row, change in zip(like, changes, strict=True)]


def _mixed(frame: pd.DataFrame, rows: list[dict]) -> pd.DataFrame:
    """Put the extra rows among the good ones, spread evenly, as they would be entered."""
    places = np.linspace(0, len(frame), len(rows) + 2)[1:-1]
    order = np.concatenate([np.arange(len(frame)) + 0.5, np.round(places)])
    extra = pd.DataFrame(rows, columns=frame.columns).astype(object)
    both = pd.concat([frame.astype(object), extra], ignore_index=True)
    return both.iloc[np.argsort(order, kind="stable")].reset_index(drop=True)
