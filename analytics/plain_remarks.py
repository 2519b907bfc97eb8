"""What the logs say without any model: what is absent, odd or alarming on its face."""

import pandas as pd

from analytics import fleet
from analytics.findings import FRAMES, empty_frame
from analytics.lives.events import Ending
from analytics.logs.reading import CheckedLogs
from analytics.plant import Plant

__all__ = ["CAUTIONS", "absent_tables", "plain_warnings", "stock_remarks"]

CAUTIONS = (
    "Decision support only. The maker's written instructions, the code of construction, the "
    "jurisdiction and the responsible licensed engineer prevail.",
    "Early bursts say nothing of a disc that fails to open; those are listed apart.",
    "What crews and lots show is association, not blame.",
)


_WITHOUT = {
    "removals": "no removals table: nothing is known to have ended",
    "stock": "no stock table: every shelf is taken as empty",
    "orders": "no orders table: nothing is taken to be on its way",
    "turnarounds": "no turnarounds table: no planned replacement is in the demand",
}


def absent_tables(logs: CheckedLogs) -> list[str]:
    """Say what a table that is not there leaves out."""
    return [said for name, said in _WITHOUT.items() if name not in logs.present]


def plain_warnings(plant: Plant) -> list[str]:
    """Say what no model is needed to see: discs driven too hard, endings nobody can tell."""
    said = []
    above = int(plant.duty["operating_ratio"].gt(1).sum())
    if above:
        said.append(
            f"{above} positions run above the pressure at which their disc may burst (operating "
            "ratio above 1), or their pressures are wrong: look at these first"
        )
    unclear = int(plant.lives["ending"].eq(Ending.UNCLEAR.value).sum())
    if unclear:
        told = int(plant.lives["ending"].eq(Ending.PREMATURE.value).sum())
        years = float(fleet.disc_years_by_year(plant.lives).to_numpy().sum())
        said.append(
            f"{unclear} endings are unclear, neither peak pressure nor upset being on record: "
            f"{100 * told / years:.3g} premature failures per 100 disc-years with none of them, "
            f"{100 * (told + unclear) / years:.3g} with all"
        )
    return said


def stock_remarks(quarantine: pd.DataFrame, odd: pd.DataFrame) -> pd.DataFrame:
    """What is odd about stock and orders, rows that could not be read among it."""
    unread = quarantine[quarantine["table"].isin(["stock", "orders", "discs"])]
    rows = [
        {
            "what": f"row of {row['table']} set aside: {row['reason'].replace('_', ' ')}",
            "detail": f"{row['file']}, line {row['line']}: {row['column']} must be "
            f"{row['required']}, got {row['value']}; not counted",
            "mend": row["mend"],
        }
        for row in unread.to_dict("records")
    ]
    columns = FRAMES["stock_remarks"].split()
    frames = [frame for frame in (pd.DataFrame(rows), odd) if len(frame)]
    return pd.concat(frames, ignore_index=True)[columns] if frames else empty_frame("stock_remarks")
