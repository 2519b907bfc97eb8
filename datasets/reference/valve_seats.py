"""The published valve-seat replacement log, written as a log folder.

41 diesel engines, 48 replacements: W. Nelson and N. Doganaksoy (1989), as given in
W. Q. Meeker and L. A. Escobar, "Statistical Methods for Reliability Data" (1998).
An engine stands for a position and a valve seat for a disc. The data give ages in
days only, so all engines are laid on one calendar that ends on the same day; they
have no pressures, no install checks and no stock.
"""

from datetime import date, timedelta
from pathlib import Path

import pandas as pd

from datasets.reference import path

__all__ = ["LAST_DAY", "write_valve_seat_logs"]

LAST_DAY = date(2001, 12, 31)
"""An arbitrary day on which every engine's observation ends."""


def write_valve_seat_logs(folder: Path) -> None:
    """Write the valve-seat log as a log folder.

    Parameters
    ----------
    folder : Path
        Made when missing; files in it with the same names are overwritten.

    Notes
    -----
    A replacement is written as a leak last seen good on the day it was found, which
    makes its age exact. Price and lead time are invented.
    """
    log = pd.read_csv(path("survival_valveSeat.csv"))
    last_age = log[log["status"] == 0].set_index("id")["time"]
    start = {engine: LAST_DAY - timedelta(days=int(age)) for engine, age in last_age.items()}
    replaced = log[log["status"] == 1]

    folder.mkdir(parents=True, exist_ok=True)
    positions = [
        {
            "position_id": f"engine-{engine}",
            "site": "fleet",
            "service": "engine",
            "disc_code": "valve-seat",
            "store": "depot",
        }
        for engine in last_age.index
    ]
    installs = [
        {
            "install_id": f"new-{engine}",
            "position_id": f"engine-{engine}",
            "installed_on": start[engine],
            "disc_code": "valve-seat",
        }
        for engine in last_age.index
    ]
    removals = []
    for number, (engine, age) in enumerate(zip(replaced["id"], replaced["time"], strict=True)):
        day = start[engine] + timedelta(days=int(age))
        place = f"engine-{engine}"
        removals.append(
            {
                "removal_id": f"out-{number}",
                "position_id": place,
                "found_on": day,
                "last_good_on": day,
                "reason": "leak",
            }
        )
        installs.append(
            {
                "install_id": f"in-{number}",
                "position_id": place,
                "installed_on": day,
                "disc_code": "valve-seat",
            }
        )
    discs = [
        {
            "disc_code": "valve-seat",
            "family": "other",
            "unit_price": 100,
            "lead_time_weeks": 8,
            "minimum_order": 1,
        }
    ]
    tables = {"positions": positions, "discs": discs, "installs": installs, "removals": removals}
    for name, rows in tables.items():
        pd.DataFrame(rows).to_csv(folder / f"{name}.csv", index=False)
    (folder / "logs.toml").write_text(
        'title = "Valve seats of 41 diesel engines"\ncurrency = "units"\n'
        f"log_begins = {min(start.values())}\nexport_date = {LAST_DAY}\n",
        encoding="utf-8",
    )
