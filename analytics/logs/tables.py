"""The log tables: one declaration drives reading, checking, templates and help.

A file's column is named as declared here, with its unit in square brackets:
`peak_pressure [barg]`. In the checked frames the same column carries the
internal unit in its name: `peak_pressure_barg`.
"""

from dataclasses import dataclass
from enum import Enum

from analytics.units import Dimension

__all__ = ["CHECKS", "FAMILIES", "REASONS", "TABLES", "Column", "Keep", "Kind", "Table"]

FAMILIES = (
    "forward_plain",
    "forward_scored",
    "composite",
    "reverse_scored",
    "reverse_knife",
    "graphite",
    "other",
)

REASONS = (
    "burst",
    "leak",
    "damage_found",
    "planned",
    "opportunity",
    "wrong_disc",
    "failed_to_open",
    "unknown",
)


class Kind(Enum):
    """How a column's text is read."""

    TEXT = "text"
    CODE = "one of the allowed words"
    YES_NO = "yes, no or blank"
    DATE = "date"
    TIME = "date and time"
    NUMBER = "number"
    COUNT = "whole number"
    STEPS = "percentages joined by /, e.g. 25/50/75/100"
    CURVE = "temperature:factor in degC joined by /, e.g. 20:1.00/100:0.94"


class Keep(Enum):
    """Which rows count when a table comes in again and again."""

    ALL = "every row ever logged"
    LATEST_OF_KEY = "of each key the row that came in last"
    LATEST_WHOLE = "the rows of the file that came in last"


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """One column of a log table.

    Attributes
    ----------
    name : str
        Name in the file, without the unit.
    kind : Kind
        How its text is read.
    about : str
        One line for the template and the help.
    required : bool
        Whether the column must exist and each row must fill it.
    dimension : Dimension or None
        What it measures when a unit belongs in the header.
    allowed : tuple of str
        The words of a CODE column.
    minimum, maximum : float or None
        Inclusive limits, in the internal unit.
    past : bool
        Whether a date here tells what happened, so that it cannot lie after the export.
    """

    name: str
    kind: Kind
    about: str
    required: bool = False
    dimension: Dimension | None = None
    allowed: tuple[str, ...] = ()
    minimum: float | None = None
    maximum: float | None = None
    past: bool = False

    @property
    def internal_name(self) -> str:
        """Name in the checked frame, with the internal unit.

        Examples
        --------
        >>> TABLES["removals"].column("peak_pressure").internal_name
        'peak_pressure_barg'
        """
        return self.name if self.dimension is None else f"{self.name}_{self.dimension.value}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """One log table: what a row is, its key and its columns.

    Attributes
    ----------
    name : str
        Table name, which is also the file's stem.
    about : str
        What one row is.
    key : tuple of str
        Columns that together name a row; empty when rows may repeat.
    required : bool
        Whether the job can do anything without this table.
    columns : tuple of Column
        In the order of the template.
    in_order : tuple of (str, str)
        Pairs of date columns of which the first cannot lie after the second.
    keep : Keep
        Which rows count when the table is exported anew.
    """

    name: str
    about: str
    key: tuple[str, ...]
    columns: tuple[Column, ...]
    required: bool = False
    in_order: tuple[tuple[str, str], ...] = ()
    keep: Keep = Keep.ALL

    def column(self, name: str) -> Column:
        """Find a column by its file name; KeyError if the table has none such."""
        for column in self.columns:
            if column.name == name:
                return column
        raise KeyError(name)


def _text(name: str, about: str, *, required: bool = False) -> Column:
    return Column(name=name, kind=Kind.TEXT, about=about, required=required)


def _code(name: str, about: str, allowed: tuple[str, ...], *, required: bool = False) -> Column:
    return Column(name=name, kind=Kind.CODE, about=about, allowed=allowed, required=required)


def _yes_no(name: str, about: str) -> Column:
    return Column(name=name, kind=Kind.YES_NO, about=about)


def _date(name: str, about: str, *, required: bool = False, past: bool = False) -> Column:
    return Column(name=name, kind=Kind.DATE, about=about, required=required, past=past)


def _number(
    name: str, about: str, *, minimum: float | None = 0.0, maximum: float | None = None
) -> Column:
    return Column(name=name, kind=Kind.NUMBER, about=about, minimum=minimum, maximum=maximum)


def _count(name: str, about: str, *, minimum: float = 0.0, required: bool = False) -> Column:
    return Column(name=name, kind=Kind.COUNT, about=about, minimum=minimum, required=required)


def _pressure(
    name: str, about: str, *, minimum: float = -1.01325, required: bool = False
) -> Column:
    return Column(
        name=name,
        kind=Kind.NUMBER,
        about=about,
        dimension=Dimension.GAUGE_PRESSURE,
        minimum=minimum,
        maximum=10_000.0,
        required=required,
    )


def _temperature(name: str, about: str) -> Column:
    return Column(
        name=name,
        kind=Kind.NUMBER,
        about=about,
        dimension=Dimension.TEMPERATURE,
        minimum=-273.15,
        maximum=2000.0,
    )


def _measured(name: str, about: str, dimension: Dimension) -> Column:
    return Column(name=name, kind=Kind.NUMBER, about=about, dimension=dimension, minimum=0.0)


_CHECK_COLUMNS = (
    _yes_no("tag_matches", "tag read and equal to what the position needs"),
    _yes_no("disc_undamaged", "disc free of dents, scratches and wrinkles before fitting"),
    _yes_no("seat_clean", "holder seat cleaned without scraping"),
    _yes_no("seat_undamaged", "holder seat free of nicks and corrosion"),
    _yes_no("holder_flat", "straight edge across the holder: no rock, no light"),
    _yes_no("flow_direction", "arrow and dome the right way round"),
    _yes_no("finger_tight_start", "all nuts finger-tight and faces parallel before torque"),
    _yes_no("gap_even", "gap even at four points after every torque step"),
    _yes_no("final_pass", "a last pass round all nuts until none moves"),
    _yes_no("studs_lubricated", "stud threads and nut faces lubricated as specified"),
    _yes_no("studs_good", "studs new or clean, nuts run free by hand"),
    _yes_no("gasket_suitable", "gaskets new and of the type the holder asks for"),
)

CHECKS = tuple(column.name for column in _CHECK_COLUMNS)
"""The yes / no checks of an install record, in the order the crew works."""

_POSITION = _text("position_id", "the place where a disc sits", required=True)
_DISC = _text("disc_code", "purchasable disc code", required=True)
_STORE = _text("store", "store that holds the pieces", required=True)

_DECLARED = (
    Table(
        name="positions",
        about="a place where a disc sits",
        key=("position_id",),
        required=True,
        keep=Keep.LATEST_OF_KEY,
        columns=(
            _POSITION,
            _text("site", "site the position belongs to", required=True),
            _text("unit", "process unit"),
            _text("service", "what the line carries"),
            _DISC,
            _code(
                "criticality", "A sole relief of a hazard, B, C low consequence", ("A", "B", "C")
            ),
            _pressure("max_operating_pressure", "highest pressure in normal running"),
            _pressure("back_pressure", "pressure downstream of the disc; blank is 0 gauge"),
            _temperature("disc_temperature", "temperature of the disc itself"),
            _date("in_service_from", "first day the position was in service"),
            _number(
                "cap_interval_months",
                "smallest of maker's, code's and site's interval cap",
                minimum=1.0,
            ),
            _text("turnaround_group", "outage group the position belongs to"),
            _number("planned_cost", "cost of a planned replacement, disc included"),
            _number("unplanned_cost", "cost of a premature burst: downtime, release, disc"),
            _text("store", "store that supplies this position"),
            _text(
                "certificate_required",
                "certificates its discs must come with, e.g. 3.1; several as 3.1/NACE",
            ),
        ),
    ),
    Table(
        name="discs",
        about="a purchasable disc code",
        key=("disc_code",),
        required=True,
        keep=Keep.LATEST_OF_KEY,
        columns=(
            _DISC,
            _code("family", "kind of disc", FAMILIES, required=True),
            _text("nominal_size", "nominal size, as ordered"),
            _text("material", "disc material and liner"),
            _pressure("specified_burst_pressure", "what was asked for", minimum=0.0),
            _temperature("coincident_temperature", "temperature the burst pressure is stated at"),
            _number("range_minus_pct", "manufacturing range below specified", maximum=50.0),
            _number("range_plus_pct", "manufacturing range above specified", maximum=50.0),
            Column(
                name="temperature_curve",
                kind=Kind.CURVE,
                about="burst pressure by disc temperature, as the maker gives it",
            ),
            _number("max_operating_ratio", "largest operating ratio the maker allows", maximum=1.0),
            _number("unit_price", "price of one piece"),
            _number("lead_time_weeks", "order to receipt, mean"),
            _number("lead_time_sd_weeks", "order to receipt, standard deviation"),
            _count("minimum_order", "fewest pieces per order"),
            _number("lot_charge", "charge per order or lot"),
            _count("test_discs", "pieces of each lot burst in test"),
            _number("shelf_life_months", "months a piece may lie before use"),
            _text("holder_series", "holder the disc fits"),
        ),
    ),
    Table(
        name="installs",
        about="one disc fitted",
        key=("install_id",),
        required=True,
        columns=(
            _text("install_id", "the record's own number", required=True),
            _POSITION,
            _date("installed_on", "day of fitting", required=True, past=True),
            _DISC,
            _text("lot", "lot number on the tag"),
            _pressure("marked_burst_pressure", "marked burst pressure on the tag", minimum=0.0),
            _text("crew", "crew that fitted it"),
            _text("holder_id", "the holder's own number"),
            *_CHECK_COLUMNS,
            _measured("torque_target", "torque the maker asks for", Dimension.TORQUE),
            _measured("torque_applied", "torque at the last step", Dimension.TORQUE),
            Column(
                name="torque_steps",
                kind=Kind.STEPS,
                about="steps to target in percent, e.g. 25/50/75/100",
            ),
            _measured("gap_spread", "largest less smallest gap of four", Dimension.LENGTH),
        ),
    ),
    Table(
        name="removals",
        about="one disc's life ended, or looked at",
        key=("removal_id",),
        in_order=(("last_good_on", "found_on"),),
        columns=(
            _text("removal_id", "the record's own number", required=True),
            _POSITION,
            _date("found_on", "day it was found", required=True, past=True),
            _date("last_good_on", "last day it was known to be good", past=True),
            _code("reason", "why it came out", REASONS, required=True),
            _yes_no("upset", "was there a real overpressure"),
            _pressure("peak_pressure", "highest pressure recorded at the event"),
            _text("event_group", "bursts of one upset share it"),
            _measured("downtime", "time lost", Dimension.DURATION),
            _number("cost", "what the event cost"),
            _text("remarks", "free text"),
        ),
    ),
    Table(
        name="stock",
        about="pieces of one lot in a store",
        key=(),
        in_order=(("received_on", "expires_on"),),
        keep=Keep.LATEST_WHOLE,
        columns=(
            _STORE,
            _DISC,
            _text("lot", "lot number on the tag"),
            _pressure("marked_burst_pressure", "marked burst pressure on the tag", minimum=0.0),
            _count("quantity", "pieces on the shelf", required=True),
            _date("received_on", "day of receipt", past=True),
            _date("expires_on", "last day of use"),
            _text("certificate", "certificates that came with the lot, e.g. 3.1 or 3.1/NACE"),
        ),
    ),
    Table(
        name="orders",
        about="an open order",
        key=("order_id",),
        keep=Keep.LATEST_WHOLE,
        columns=(
            _text("order_id", "the order's own number", required=True),
            _STORE,
            _DISC,
            _count("quantity", "pieces on order", minimum=1.0, required=True),
            _date("due_on", "day it is due", required=True),
        ),
    ),
    Table(
        name="turnarounds",
        about="a planned outage",
        key=("turnaround_group", "starts_on"),
        in_order=(("starts_on", "ends_on"),),
        keep=Keep.LATEST_OF_KEY,
        columns=(
            _text("turnaround_group", "outage group", required=True),
            _date("starts_on", "first day", required=True),
            _date("ends_on", "last day"),
            _count("crew_limit", "most discs the crew can change in this outage", minimum=1.0),
        ),
    ),
)

TABLES = {table.name: table for table in _DECLARED}
"""Every log table by name. The historian under `pressure/` is read by `analytics.duty`."""
