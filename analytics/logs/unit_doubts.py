"""Do some pressures look as if they were written in another unit? Proposed, never applied."""

from collections.abc import Mapping

import numpy as np
import pandas as pd
from numpy.typing import NDArray

__all__ = ["doubt_units"]

_FACTORS = {
    14.5038: "psi against bar",
    6.89476: "psi against kPa",
    100.0: "kPa against bar",
    10.0: "bar against MPa",
}
_NEAR = 0.10
"""How near a ratio must be to a factor; discs of one code agree within their range."""


def doubt_units(tables: Mapping[str, pd.DataFrame]) -> list[str]:
    """Ask about pressures that stand at a unit's factor from what they should be.

    Parameters
    ----------
    tables : mapping of str to DataFrame
        The accepted rows of every table.

    Returns
    -------
    list of str
        One question per table, column and factor.
    """
    discs = tables["discs"].set_index("disc_code")["specified_burst_pressure_barg"]
    questions = []
    pairs = (
        ("installs", "marked_burst_pressure", "install_id"),
        ("stock", "marked_burst_pressure", "lot"),
        ("positions", "max_operating_pressure", "position_id"),
    )
    for name, column, label in pairs:
        frame = tables[name]
        asked = frame["disc_code"].map(discs).to_numpy(dtype=float)
        given = frame[f"{column}_barg"].to_numpy(dtype=float)
        if column == "max_operating_pressure":
            # Running pressure is below the burst pressure by choice, so only "too high" can tell.
            given = np.where(given > 1.5 * asked, given, np.nan)
        questions += _at_a_factor(given, asked, frame[label], f"{name}, {column}")
    questions += _peaks(tables)
    return questions


def _peaks(tables: Mapping[str, pd.DataFrame]) -> list[str]:
    """Compare peak pressures with the specified pressure of the position's disc."""
    removals, positions, discs = tables["removals"], tables["positions"], tables["discs"]
    code = removals["position_id"].map(positions.set_index("position_id")["disc_code"])
    asked = code.map(discs.set_index("disc_code")["specified_burst_pressure_barg"])
    peak = removals["peak_pressure_barg"].to_numpy(dtype=float)
    limit = asked.to_numpy(dtype=float)
    peak = np.where(peak > 3 * limit, peak, np.nan)
    return _at_a_factor(peak, limit, removals["removal_id"], "removals, peak_pressure")


def _at_a_factor(
    given: NDArray[np.float64], asked: NDArray[np.float64], labels: pd.Series, where: str
) -> list[str]:
    with np.errstate(invalid="ignore", divide="ignore"):
        ratio = given / asked
    questions = []
    for factor, words in _FACTORS.items():
        for value, side in ((factor, "high"), (1 / factor, "low")):
            near = np.abs(ratio / value - 1) < _NEAR
            if near.any():
                some = ", ".join(map(str, labels[near][:5]))
                questions.append(
                    f"{where}: {int(near.sum())} values are too {side} by about {factor:g} "
                    f"({words}?): {some}; nothing was changed, mend the unit if it is so"
                )
    return questions
