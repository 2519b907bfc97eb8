"""Which of our tables, columns and words does a plant's name look like?"""

from collections.abc import Mapping, Sequence
from difflib import SequenceMatcher
from functools import lru_cache

from analytics.logs.headers import bare_name
from analytics.logs.tables import TABLES, Column, Kind, Table

__all__ = ["best_table", "match_columns", "suggest_word"]

_ALSO = {
    "position_id": "position/tag/tag number/equipment/equipment tag/functional location/location",
    "site": "plant/works/facility",
    "unit": "process unit/area/section",
    "service": "medium/fluid/process fluid",
    "disc_code": "disc/disc type code/part number/stock code/material number/item code/model",
    "criticality": "class/criticality class",
    "max_operating_pressure": "mop/operating pressure/max oper pressure/normal pressure",
    "back_pressure": "downstream pressure",
    "disc_temperature": "operating temperature/temperature",
    "in_service_from": "commissioned/in service since/start date",
    "cap_interval_months": "pm interval/replacement interval/interval months",
    "turnaround_group": "outage group/turnaround/shutdown group",
    "store": "warehouse/storeroom/store room/storage location",
    "family": "disc family/disc type/type",
    "nominal_size": "size/dn/nps",
    "specified_burst_pressure": "burst pressure/specified burst/set pressure/rated pressure",
    "coincident_temperature": "burst temperature/coincident temp",
    "unit_price": "price/cost each",
    "lead_time_weeks": "lead time/delivery weeks",
    "minimum_order": "moq/minimum order quantity/min order",
    "install_id": "install no/installation number/record no/record number/work order/wo",
    "installed_on": "install date/date installed/installation date/date fitted/fitted on",
    "lot": "lot number/lot no/batch/batch no",
    "marked_burst_pressure": "mbp/marked burst/marked pressure/tag pressure",
    "crew": "team/installer/fitted by/contractor",
    "holder_id": "holder/holder number",
    "torque_target": "target torque/specified torque",
    "torque_applied": "torque/actual torque/final torque",
    "gap_spread": "gap/gap difference",
    "removal_id": "removal no/work order/wo/wo number/order number/notification/event no",
    "found_on": "found date/date found/event date/removal date/removed on/malfunction start/date",
    "last_good_on": "last good/last inspection/last inspected",
    "reason": "failure mode/removal reason/event type/cause/code",
    "upset": "overpressure/process upset",
    "peak_pressure": "max pressure/peak/pressure at event",
    "event_group": "event/upset id/incident",
    "downtime": "down time/outage hours/hours lost",
    "cost": "total cost/event cost",
    "remarks": "comment/comments/long text/description/notes",
    "quantity": "qty/pieces/count/stock on hand/amount",
    "received_on": "receipt date/date received/received",
    "expires_on": "expiry date/expiry/shelf life end/use by",
    "certificate": "inspection certificate/material certificate/papers",
    "certificate_required": "required certificate/certificates asked for",
    "order_id": "po/po number/purchase order/order number/order no",
    "due_on": "due date/delivery date/expected",
    "starts_on": "start/start date/begin",
    "ends_on": "end/end date/finish",
}
_WORDS = {
    "burst": "ruptured/blown/failed/premature burst/burst disc",
    "leak": "leaking/leakage/pinhole/weeping",
    "damage_found": "damaged/dented/corroded/damage",
    "planned": "pm/scheduled/preventive/time based/replaced as planned/routine",
    "opportunity": "opportunistic/shutdown/turnaround",
    "wrong_disc": "wrong type/incorrect disc/misfit",
    "failed_to_open": "did not open/no burst/stuck",
    "unknown": "not known/other/unclear",
    "forward_plain": "conventional/prebulged/forward",
    "forward_scored": "scored/forward acting scored",
    "composite": "slotted/slotted composite",
    "reverse_scored": "reverse/reverse acting scored/reverse buckling",
    "reverse_knife": "knife blade/reverse knife blade/knife",
    "graphite": "carbon/impregnated graphite",
    "yes": "y/1/ok/pass/passed/x/true/j/ja/oui/si/done",
    "no": "n/0/not ok/fail/failed/nok/nein/non",
    "A": "1/high/safety critical",
    "B": "2/medium",
    "C": "3/low",
}
_LIKELY = 0.78


def match_columns(header: Sequence[str], table: Table) -> dict[str, str]:
    """Pair a file's column names with a table's, best likeness first.

    Parameters
    ----------
    header : sequence of str
        As written, units included.
    table : Table
        The declaration.

    Returns
    -------
    dict of str to str
        Name as written to our name; each of ours at most once.
    """
    scores = sorted(
        (
            (-_likeness(bare_name(cell), (column.name, *_also(_ALSO, column.name))), place, column)
            for place, cell in enumerate(header)
            for column in table.columns
        ),
        key=lambda item: (item[0], item[1], item[2].name),
    )
    taken: dict[int, str] = {}
    for score, place, column in scores:
        if -score >= _LIKELY and place not in taken and column.name not in taken.values():
            taken[place] = column.name
    return {header[place]: name for place, name in sorted(taken.items())}


def best_table(stem: str, header: Sequence[str]) -> Table | None:
    """Name the table a file most likely holds: by its name, else by its columns."""
    for table in TABLES.values():
        if (stem.casefold() + "_").startswith(table.name + "_"):
            return table

    def merit(table: Table) -> float:
        found = set(match_columns(header, table).values())
        needed = [column.name for column in table.columns if column.required]
        likes_name = _likeness(stem, (table.name, table.name.removesuffix("s")))
        return sum(name in found for name in needed) / len(needed) + 0.5 * likes_name

    best = max(TABLES.values(), key=merit)
    return best if merit(best) >= 0.75 else None


def suggest_word(text: str, column: Column) -> tuple[str, bool]:
    """Propose the allowed word that a plant's code word means; blank when none is near.

    Returns
    -------
    word : str
        The nearest allowed word.
    usual : bool
        Whether the text is a usual name for it, and not only alike.
    """
    allowed = ("yes", "no") if column.kind is Kind.YES_NO else column.allowed
    scores = [(_likeness(text, (word, *_also(_WORDS, word))), word) for word in allowed]
    score, word = max(scores, default=(0.0, ""))
    return (word if score >= _LIKELY else "", score == 1.0)


def _also(names: Mapping[str, str], name: str) -> list[str]:
    return names.get(name, "").split("/") if name in names else []


def _likeness(text: str, names: Sequence[str]) -> float:
    folded = _fold(text)
    return max((_ratio(folded, _fold(name)) for name in names), default=0.0)


@lru_cache(maxsize=50_000)
def _ratio(first: str, second: str) -> float:
    if first == second:
        return 1.0
    shorter, longer = sorted((len(first), len(second)))
    # The ratio cannot exceed this bound, and most pairs fail it.
    if shorter < 4 or 2 * shorter / (shorter + longer) < _LIKELY:
        return 0.0
    return 0.99 * SequenceMatcher(None, first, second, autojunk=False).ratio()


@lru_cache(maxsize=50_000)
def _fold(text: str) -> str:
    return "".join(character for character in text.casefold() if character.isalnum())
