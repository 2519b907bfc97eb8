"""Empty logs to fill in, a filled example, and the meaning of every column."""

import csv
from pathlib import Path

from analytics.logs.exporting import header_of
from analytics.logs.tables import TABLES, Column, Kind, Table
from analytics.units import Dimension, unit_words

__all__ = ["column_guide", "write_templates"]

_EXAMPLES = {
    "position_id": "P-101",
    "site": "North",
    "unit": "Distillation",
    "service": "column overhead",
    "disc_code": "RS-50-10",
    "nominal_size": "DN50",
    "material": "316 steel",
    "holder_series": "H-50",
    "install_id": "I-0001",
    "lot": "L2044",
    "crew": "Crew 1",
    "holder_id": "HD-101",
    "removal_id": "R-0001",
    "store": "Main",
    "order_id": "O-0001",
    "turnaround_group": "North spring",
    "remarks": "0012, a text stays a text",
    "torque_steps": "25/50/75/100",
    "max_operating_pressure": "7.5",
    "specified_burst_pressure": "10",
    "marked_burst_pressure": "9.9",
    "peak_pressure": "7.2",
    "max_operating_ratio": "0.9",
    "installed_on": "2022-05-06",
    "last_good_on": "2024-01-15",
    "received_on": "2023-11-02",
    "in_service_from": "2015-06-01",
    "ends_on": "2024-06-20",
    "family": "reverse_scored",
    "reason": "burst",
    "upset": "no",
    "torque_target": "95",
    "torque_applied": "96",
    "gap_spread": "0.2",
    "disc_temperature": "60",
    "coincident_temperature": "60",
    "event_group": "",
}
"""By column name, so that the same place and the same disc stand in every table."""

_BY_KIND = {
    Kind.DATE: "2024-05-06",
    Kind.YES_NO: "yes",
    Kind.NUMBER: "5",
    Kind.COUNT: "5",
}

_HISTORY_GUIDE = f"""\
## pressure

A folder of Parquet or CSV files from the historian (optional). A row is one sample.

| column | required | what it holds | units | meaning |
|---|---|---|---|---|
| `position_id` | yes | text | | the place where a disc sits |
| `time` | yes | date and time | | moment of the sample |
| `pressure` | yes | number | {" ".join(unit_words(Dimension.GAUGE_PRESSURE))} | pressure upstream |
| `temperature` | | number | {" ".join(unit_words(Dimension.TEMPERATURE))} | at the disc |

Times without a zone of their own are read as the `time_zone` of `logs.toml` writes them.
"""

_SETTINGS = """\
# How this plant writes its logs. Every line is optional; take the # off what you need.
# title = "North works"
# currency = "EUR"                # of every cost
# log_begins = 2015-01-01         # first day on which every removal was recorded
# export_date = 2024-06-30        # last day these logs speak of
# date_format = "%d/%m/%Y"        # without it dates are ISO: 2024-05-06
# decimal = ","                   # without it the decimal mark is .
# thousands = "."
# time_zone = "Europe/Berlin"
# blank = ["n/a", "-"]            # texts that mean: not recorded
# [columns.removals]              # the plant's column name = ours
# "Equipment" = "position_id"
# [units.removals]                # our column = its unit, instead of the header
# peak_pressure = "barg"
# [words.removals.reason]         # the plant's word = ours
# "PM" = "planned"
# [[renamed]]                     # a position that had another name until a day
# was = "P-1"
# now = "P-101"
# until = 2019-03-01
# [[programmes]]                  # an improvement of fitting, judged by before and since
# name = "torque training"
# starts_on = 2022-03-01
# crews = ["A", "B"]              # or sites; without either it reached everybody
# [formats.discs]                 # one table written in another way than the rest
# date_format = "%Y-%m-%d"
# [fatigue]                       # cycles to failure by range, of your discs: none is presumed
# cycles_at_one_bar = 1e9
# slope = 5.0
# mean_correction = "goodman"     # or "none", "smith_watson_topper"
# [sources]                       # files whose names do not say their table
# removals = ["workorders.xlsx#Sheet1"]
"""


def write_templates(folder: Path) -> None:
    """Write one empty file per table, a filled example and the guide to the columns.

    The empty files and `example/` are log folders as they stand.

    Parameters
    ----------
    folder : Path
        Made if missing; files of the same names are replaced.
    """
    example = folder / "example"
    example.mkdir(parents=True, exist_ok=True)
    for table in TABLES.values():
        header = [header_of(column) for column in table.columns]
        row = [_example(column) for column in table.columns]
        _write(folder / f"{table.name}.csv", [header])
        _write(example / f"{table.name}.csv", [header, row])
    (folder / "logs.toml").write_text(_SETTINGS, encoding="utf-8")
    (folder / "COLUMNS.md").write_text(column_guide(), encoding="utf-8")


def column_guide() -> str:
    """Describe every table and column, in Markdown, from the declarations alone."""
    return "\n".join([*(_table_guide(table) for table in TABLES.values()), _HISTORY_GUIDE])


def _table_guide(table: Table) -> str:
    needed = "needed" if table.required else "optional"
    key = f"; one row per {' and '.join(table.key)}" if table.key else ""
    lines = [
        f"## {table.name}\n\nA row is {table.about} ({needed}{key}).\n",
        "| column | required | what it holds | units | meaning |",
        "|---|---|---|---|---|",
    ]
    for column in table.columns:
        holds = " ".join(column.allowed) or column.kind.value
        units = " ".join(unit_words(column.dimension)) if column.dimension else ""
        required = "yes" if column.required else ""
        lines.append(f"| `{column.name}` | {required} | {holds} | {units} | {column.about} |")
    return "\n".join(lines) + "\n"


def _example(column: Column) -> str:
    if column.name in _EXAMPLES:
        return _EXAMPLES[column.name]
    return column.allowed[0] if column.allowed else _BY_KIND.get(column.kind, "")


def _write(path: Path, rows: list[list[str]]) -> None:
    with path.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file, lineterminator="\n").writerows(rows)
