"""Why a row was kept out of the analysis, in one vocabulary."""

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

__all__ = ["Finding", "Reason", "Refusal"]


class Reason(StrEnum):
    """Reason codes of the quarantine; the text says what each one means."""

    BROKEN_ROW = "broken_row"  # more or fewer fields than the header, or quotes that do not close
    BLANK = "blank"  # a required value is missing
    CONTROL_CHARACTER = "control_character"
    TOO_LONG = "too_long"
    UNKNOWN_WORD = "unknown_word"  # a code word outside the declared ones
    NOT_A_NUMBER = "not_a_number"
    AMBIGUOUS_NUMBER = "ambiguous_number"  # 1,234 is a thousand or a little over one
    NOT_WHOLE = "not_whole"
    TOO_SMALL = "too_small"
    TOO_LARGE = "too_large"
    NOT_A_DATE = "not_a_date"
    AMBIGUOUS_DATE = "ambiguous_date"  # 03/04/2021 without a declared format
    ZONE_UNKNOWN = "zone_unknown"  # a clock time whose day depends on an undeclared zone
    AMBIGUOUS_HOUR = "ambiguous_hour"  # the hour occurs twice when clocks go back
    NO_SUCH_HOUR = "no_such_hour"  # the hour is skipped when clocks go forward
    AFTER_EXPORT = "after_export"  # a past event dated after the export, or after today
    WRONG_ORDER = "wrong_order"  # two dates of one row contradict each other
    UNKNOWN_UNIT = "unknown_unit"
    NOT_STEPS = "not_steps"
    NOT_A_CURVE = "not_a_curve"
    DUPLICATE_ROW = "duplicate_row"  # the same row again
    DUPLICATE_KEY = "duplicate_key"  # the same key with another content
    ONE_ORDER_SEVERAL_POSITIONS = "one_order_several_positions"
    UNKNOWN_POSITION = "unknown_position"
    UNKNOWN_DISC_CODE = "unknown_disc_code"


@dataclass(frozen=True, slots=True, kw_only=True)
class Refusal:
    """One value that cannot be used.

    Attributes
    ----------
    reason : Reason
        The code.
    required : str
        What the column asks for.
    mend : str
        What would make the row usable.
    """

    reason: Reason
    required: str
    mend: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One thing wrong with some rows.

    Attributes
    ----------
    rows : ndarray of int
        Positions in the table's frame.
    column : str
        Our name of the column.
    refusal : Refusal
        Reason, what is required, what would mend it.
    """

    rows: NDArray[np.int64]
    column: str
    refusal: Refusal
