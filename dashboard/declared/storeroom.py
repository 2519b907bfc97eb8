"""What the storeroom reads: orders, stock, demand."""

from dashboard.declared.shared import CODE, STORE
from dashboard.orders import to_order
from dashboard.tables import Kind, TableView, columns

__all__ = ["STOREROOM"]

STOREROOM = (
    TableView(
        key="order-this-week",
        title="Order this week",
        rows=to_order,
        columns=columns(
            CODE,
            STORE,
            ("order_quantity", "Pieces", Kind.COUNT),
            ("order_by", "Order by", Kind.DAY),
            ("cost", "Cost", Kind.MONEY),
            ("criticality", "Criticality", Kind.TEXT),
            ("reason", "Why", Kind.TEXT),
        ),
    ),
    TableView(
        key="moves",
        title="Move between stores first",
        rows=lambda findings: findings.moves,
        columns=columns(
            CODE,
            ("pieces", "Pieces", Kind.COUNT),
            ("from_store", "From", Kind.TEXT),
            ("to_store", "To", Kind.TEXT),
            ("lot", "Lot", Kind.TEXT),
            ("for_code", "Serves as", Kind.TEXT),
            ("reason", "Why", Kind.TEXT),
        ),
    ),
    TableView(
        key="kits",
        title="What the coming outages need",
        rows=lambda findings: findings.kits,
        columns=columns(
            ("turnaround_group", "Outage group", Kind.TEXT),
            ("starts_on", "Starts", Kind.DAY),
            STORE,
            CODE,
            ("planned", "Planned", Kind.COUNT),
            ("reserve", "Reserve", Kind.COUNT),
            ("in_hand", "In hand, moved in or on order", Kind.COUNT),
            ("missing", "Missing", Kind.COUNT),
            ("freeze_on", "List closes", Kind.DAY),
        ),
    ),
    TableView(
        key="dead-stock",
        title="Pieces nobody can take",
        rows=lambda findings: findings.dead_stock,
        columns=columns(
            STORE,
            CODE,
            ("lot", "Lot", Kind.TEXT),
            ("quantity", "Pieces", Kind.COUNT),
            ("value", "Value", Kind.MONEY),
            ("note", "Why", Kind.TEXT),
        ),
    ),
    TableView(
        key="pooled",
        title="What one shared stock would save",
        rows=lambda findings: findings.pooled,
        columns=columns(
            CODE,
            ("stores", "Stores", Kind.COUNT),
            ("apart", "Pieces held apart", Kind.COUNT),
            ("together", "Pieces held in one place", Kind.COUNT),
            ("saved", "Pieces saved", Kind.COUNT),
            ("value", "Worth", Kind.MONEY),
        ),
    ),
    TableView(
        key="placing",
        title="Where the pieces serve best",
        rows=lambda findings: findings.placing,
        columns=columns(
            CODE,
            STORE,
            ("held", "Held", Kind.COUNT),
            ("best", "Serve best here", Kind.COUNT),
            ("next", "Next piece goes here", Kind.YES_NO),
        ),
    ),
    TableView(
        key="budget",
        title="What the next money buys",
        rows=lambda findings: findings.budget.assign(
            short=100 * (1 - findings.budget["service"].astype(float))
        ),
        columns=columns(
            ("spent", "Spent so far", Kind.MONEY),
            ("short", "Then runs out in a lead time, %", Kind.NUMBER),
            CODE,
            STORE,
            ("pieces", "Pieces then held", Kind.COUNT),
        ),
    ),
    TableView(
        key="spares",
        title="Stock and demand per store and disc code",
        rows=lambda findings: findings.spares,
        columns=columns(
            STORE,
            CODE,
            ("order_now", "Order now", Kind.YES_NO),
            ("order_by", "Order by", Kind.DAY),
            ("usable_stock", "Usable stock", Kind.COUNT),
            ("stock", "All stock", Kind.COUNT),
            ("on_order", "On order", Kind.COUNT),
            ("move_in", "Move in from another store", Kind.COUNT),
            ("reorder_point", "Reorder point", Kind.COUNT),
            ("weeks", "Weeks ahead", Kind.COUNT),
            ("mean", "Demand, mean", Kind.NUMBER),
            ("p50", "Demand, half the time", Kind.COUNT),
            ("p90", "Demand, 9 in 10", Kind.COUNT),
            ("p95", "Demand, 19 in 20", Kind.COUNT),
            ("planned", "of it planned", Kind.NUMBER),
            ("premature", "of it premature", Kind.NUMBER),
            ("upset", "of it upsets", Kind.NUMBER),
            ("unclear", "of it unclear bursts", Kind.NUMBER),
            ("fitting", "of it lost in fitting", Kind.NUMBER),
            ("order_quantity", "Pieces to order", Kind.COUNT),
            ("cost", "Cost", Kind.MONEY),
            ("criticality", "Criticality", Kind.TEXT),
            ("service", "Served in time as stocked", Kind.SHARE),
            ("target", "Served in time, target", Kind.SHARE),
            ("insurance", "Held as insurance", Kind.YES_NO),
            ("reason", "Why", Kind.TEXT),
        ),
    ),
    TableView(
        key="demand-by-week",
        title="Demand and stock week by week, running total",
        rows=lambda findings: findings.demand_weekly,
        columns=columns(
            STORE,
            CODE,
            ("week_start", "Week from", Kind.DAY),
            ("mean", "Demand, mean", Kind.NUMBER),
            ("p50", "Demand, half the time", Kind.COUNT),
            ("p90", "Demand, 9 in 10", Kind.COUNT),
            ("p95", "Demand, 19 in 20", Kind.COUNT),
            ("stock", "Usable stock with orders", Kind.COUNT),
        ),
    ),
)
"""In the order of their worth to the reader."""
