"""What the whole job found: one frozen value that the dashboard and the report read."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date

import pandas as pd

from analytics.estimate import Estimate

__all__ = ["FRAMES", "ChangedDuty", "Findings", "Installation", "Model", "Wear", "empty_frame"]

FRAMES = {
    "life_curve": "age_years survival low high at_risk events",
    "hazard_curve": "age_years installation wear clean",
    "crews": "crew events expected rate_ratio low high p_value flagged note",
    "sites": "site events expected rate_ratio low high p_value flagged note",
    "lots": "lot events expected rate_ratio low high p_value flagged note suspect positions bins "
    "in_stock what_else",
    "counts_alone": "check about with_defect failed_with without_defect failed_without "
    "relative_risk relative_risk_low relative_risk_high odds_ratio odds_ratio_low odds_ratio_high "
    "risk_difference risk_difference_low risk_difference_high p_value",
    "rivals": "life_id rival verdict evidence settles",
    "lot_places": "lot store position_id disc_code pieces since action",
    "intervals": "position_id site disc_code age_months age_low age_high cap_months "
    "today_age_months replace_on premature_probability cost_per_year cost_today proposal note "
    "overdue",
    "overdue": "position_id limit over_today_months next_outage over_then_months",
    "outage_plan": "position_id disc_code store turnaround_group outage_on",
    "outage_groups": "turnaround_group positions outages own_outages cost cost_without_limits",
    "policies": "policy planned_per_year premature_per_year premature_low premature_high "
    "discs_per_year cost_per_year cost_low cost_high saving saving_low saving_high "
    "probability_cheaper",
    "spares": "store disc_code weeks mean mean_all_unclear mean_no_unclear p50 p90 p95 planned "
    "premature upset unclear fitting usable_stock stock on_order move_in reorder_point "
    "order_quantity order_now order_by cost criticality target service insurance reason",
    "dangerous": "position_id date what",
    "moves": "from_store to_store disc_code lot for_code pieces reason",
    "kits": "turnaround_group starts_on store disc_code planned reserve needed in_hand missing "
    "freeze_on days_to_freeze",
    "dead_stock": "store disc_code lot quantity value note",
    "stock_remarks": "what store disc_code detail mend",
    "pooled": "disc_code stores apart together saved value",
    "placing": "disc_code store held best next",
    "budget": "spent service store disc_code pieces gain_per_cost",
    "watch": "chart kind group direction since signalled_on until still observed expected "
    "rate_ratio low high other_observed other_expected wear_too",
    "watch_charts": "chart kind group events per_year rise fall months_to_rise months_to_fall",
    "watch_path": "chart kind group on observed expected difference rise fall",
    "programmes": "programme starts_on measure observed_before expected_before observed_since "
    "expected_since change change_low change_high rest rest_low rest_high net net_low net_high "
    "note",
    "record_next": "check about recorded_pct failures_owed now_low now_high then_low then_high "
    "width effect_width total_width",
    "demand_weekly": "store disc_code week_start mean p50 p90 p95 stock",
    "duty_quarters": "install_id position_id from_on to_on from_years to_years coverage "
    "operating_ratio mean_ratio pressure_basis share_above_limit cycles_per_year "
    "temperature_degc damage",
    "what_if": "change about avoided avoided_low avoided_high share share_low share_high per_year "
    "per_year_low per_year_high money money_low money_high not_then not_priced positions note "
    "avoided_all_unclear avoided_no_unclear",
    "owed_by_year": "year check about failures_owed failures_owed_low failures_owed_high cost_owed "
    "cost_owed_low cost_owed_high",
    "fitting": "of name installs passed failures avoided avoided_low avoided_high per_100 "
    "per_100_low per_100_high note",
    "past_forecasts": "method bias crps crps_ratio covered_50 covered_80 covered_95 weeks days "
    "made_on data_version",
}
"""Columns of the frames that may have no rows."""


def empty_frame(name: str) -> pd.DataFrame:
    """Give the named frame of `FRAMES` without rows.

    Examples
    --------
    >>> list(empty_frame("hazard_curve").columns)
    ['age_years', 'installation', 'wear', 'clean']
    """
    return pd.DataFrame(columns=FRAMES[name].split())


@dataclass(frozen=True, slots=True, kw_only=True)
class Model:
    """The life model in use and why.

    Attributes
    ----------
    name : str
        `two hazards` or `regression`, with its family.
    why : str
        A sentence: how it was chosen, against what, by which score.
    fit_statement : str
        A sentence a person can read on how well it fits.
    lives, failures : int
        Rows and premature failures the fit used.
    ratio_definition : str
        Which operating ratio entered.
    """

    name: str
    why: str
    fit_statement: str
    lives: int
    failures: int
    ratio_definition: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Installation:
    """How much of the early failures the installation carries.

    Attributes
    ----------
    share_of_premature : Estimate
        Share of premature failures owed to recorded defects. [-]
    failures_owed : Estimate
        The same as a count. [-]
    share_all_unclear, share_no_unclear : Estimate or None
        The share with every unclear ending taken as premature, and with none. [-]
    shape : Estimate
        Weibull shape of the installation hazard, at most 1. [-]
    defects : DataFrame
        `check about log_effect log_effect_low log_effect_high failures_owed failures_owed_low
        failures_owed_high owed_per_year owed_per_year_low owed_per_year_high recorded_pct
        defect_pct cost_owed cost_owed_low cost_owed_high not_priced flagged`; one row per check,
        worst first. A failure without a logged cost takes its position's `unplanned_cost`;
        `not_priced` counts those owed that have neither.
    failures : DataFrame
        One row per premature failure: `life_id position_id site disc_code crew lot ended_on
        age_years percentile percentile_low percentile_high share share_low share_high
        main_defect defects_found rivals advice`.
    rivals : DataFrame
        Every rival explanation of every failure: `life_id rival verdict evidence settles`, the
        record that would settle it last.
    """

    share_of_premature: Estimate
    failures_owed: Estimate
    share_all_unclear: Estimate | None
    share_no_unclear: Estimate | None
    shape: Estimate
    defects: pd.DataFrame
    failures: pd.DataFrame
    rivals: pd.DataFrame = field(default_factory=lambda: empty_frame("rivals"))


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangedDuty:
    """Whether duties that changed during a life alter the answer.

    Attributes
    ----------
    lives, failures : int
        Fitted lives whose duty changed materially, and those of them that failed early.
    ratio_exponent, cycle_exponent : Estimate or None
        What the exponents would be if each life had one duty throughout, its own as a
        whole; beside those of `Wear`, which take the duty stretch by stretch. [-]
    """

    lives: int
    failures: int
    ratio_exponent: Estimate | None
    cycle_exponent: Estimate | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Wear:
    """How life depends on duty.

    Attributes
    ----------
    shape : Estimate
        Weibull shape of the wear hazard. [-]
    ratio_exponent : Estimate or None
        n in life ~ ratio^-n. [-]
    cycle_exponent : Estimate or None
        m in life ~ (cycles per year)^-m. [-]
    changed_duty : ChangedDuty or None
        None when no fitted life changed its duty materially.
    """

    shape: Estimate
    ratio_exponent: Estimate | None
    cycle_exponent: Estimate | None
    changed_duty: ChangedDuty | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Findings:
    """Everything the job found; a frame with no rows means nothing to report.

    Attributes
    ----------
    title : str
        Name of the log folder or the company in `logs.toml`.
    export_date, log_begins : date
        Last and first day the removals log covers.
    currency : str
        Unit of every cost.
    rows : DataFrame
        `table read accepted quarantined`.
    quarantine : DataFrame
        `table file line column value reason required mend raw`.
    lives : DataFrame
        One row per disc life; columns in DEVELOPERS.md.
    endings : dict of str to int
        Count per kind of ending.
    life_curve : DataFrame
        `age_years survival low high at_risk events`, Kaplan-Meier with delayed entry.
    hazard_curve : DataFrame
        `age_years installation wear clean`: the model's yearly hazard of a median life. [1/years]
    model, installation, wear
        None when not estimable; the reason stands in `not_answered`.
    sites : DataFrame
        Sites compared on equal duty: `site events expected rate_ratio low high p_value flagged
        note`; below five events no ratio.
    crews, lots : DataFrame
        `crew|lot events expected rate_ratio low high p_value flagged note`; crews below five
        events have blank ratios. Lots also `suspect` (an alarm, under one false one in ten
        years; `flagged` is stricter), `positions`, `bins` (stores), `in_stock`, `what_else`.
    lot_places : DataFrame
        Every bin and position that holds a disc of a suspect lot, and what to do there:
        `lot store position_id disc_code pieces since action`, `position_id` blank for a bin.
    counts_alone : DataFrame
        Defect found or not against failed within the first year or not, check by check, adjusted
        for nothing: `check about with_defect failed_with without_defect failed_without`, then
        `relative_risk`, `odds_ratio`, `risk_difference` with `_low` and `_high`, and Fisher's
        `p_value`.
    duty : DataFrame
        One row per position: `position_id site disc_code family operating_ratio limit margin_bar
        share_above_limit cycles_per_year ratio_basis pressure_basis disc_temperature_degc
        temperature_basis alarm`.
    duty_quarters : DataFrame
        One row per life and quarter of it when there is a pressure history, as
        `analytics.duty.quarters.duty_by_quarter` gives it.
    intervals : DataFrame
        `position_id site disc_code age_months age_low age_high cap_months today_age_months
        replace_on premature_probability cost_per_year cost_today proposal note overdue`.
    interval_curves : dict of str to DataFrame
        Per position of interest, `age_months cost_per_year low high premature_probability`.
    overdue : DataFrame
        Discs past their cap or recommended age, today or by their next outage: `position_id
        limit over_today_months next_outage over_then_months`.
    policies : DataFrame
        Today's intervals, the proposed ones and run to failure over all priced positions in the
        long run: `policy planned_per_year premature_per_year premature_low premature_high
        discs_per_year cost_per_year cost_low cost_high saving saving_low saving_high
        probability_cheaper`.
    outage_plan : DataFrame
        The cheapest discs to change at each coming outage, within every cap: `position_id
        disc_code store turnaround_group outage_on`, by date.
    outage_groups : DataFrame
        What each group's plan costs and what the crew limits add: `turnaround_group positions
        outages own_outages cost cost_without_limits`; own outages are stops beside the planned ones
        that the caps force.
    spares : DataFrame
        `store disc_code weeks mean mean_all_unclear mean_no_unclear p50 p90 p95 planned premature
        upset unclear fitting usable_stock stock on_order move_in reorder_point order_quantity
        order_now order_by cost criticality target service insurance reason`; the two means take
        every unclear ending as premature, and none.
    demand_weekly : DataFrame
        `store disc_code week_start mean p50 p90 p95 stock` (cumulative demand; stock with orders).
    moves : DataFrame
        Pieces to move between stores before ordering, already counted in `spares`: `from_store
        to_store disc_code lot for_code pieces reason`.
    kits : DataFrame
        What each coming outage needs: `turnaround_group starts_on store disc_code planned
        reserve needed in_hand missing freeze_on days_to_freeze`.
    dead_stock : DataFrame
        Pieces nobody can take: `store disc_code lot quantity value note`.
    stock_remarks : DataFrame
        What is odd about stock, orders and terms of purchase, rows set aside among it: `what
        store disc_code detail mend`.
    pooled : DataFrame
        Pieces that cover a lead time held store by store and held in one place: `disc_code
        stores apart together saved value`.
    placing : DataFrame
        Where the pieces of a code serve best: `disc_code store held best next`, `next` for the
        store the next piece should go to.
    budget : DataFrame
        The next pieces worth buying, in order, and the service they reach: `spent service store
        disc_code pieces gain_per_cost`.
    watch : DataFrame
        Changes of the quality of installation that the charts show, one row per change:
        `chart kind group direction since signalled_on until still observed expected rate_ratio
        low high other_observed other_expected wear_too`. `since` is the change-point, `still`
        says whether it holds to the end; observed and expected count from `since` to `until`, the
        others are failures by wear over the same days, `wear_too` whether they changed as well.
    watch_charts : DataFrame
        Every chart: `chart kind group events per_year rise fall months_to_rise months_to_fall`;
        rise and fall as parts of the alarm's height, months until a doubling (of a lot's
        failures, four times) or a halving would be seen.
    watch_path : DataFrame
        The charts month by month: `chart kind group on observed expected difference rise fall`.
    programmes : DataFrame
        What each declared programme changed: `programme starts_on measure observed_before
        expected_before observed_since expected_since change change_low change_high rest
        rest_low rest_high net net_low net_high note`.
    record_next : DataFrame
        Checks not recorded often, by how much recording them would narrow the failures owed to
        them: `check about recorded_pct failures_owed now_low now_high then_low then_high width
        effect_width total_width`.
    dangerous : DataFrame
        `position_id date what`; plus the exposure bound in `dangerous_bound`.
    dangerous_bound : Estimate or None
        Rate per disc-year with its 95 % limits, upper bound when none occurred. [1/years]
    trend : DataFrame
        `year site disc_years premature rate low high install_quality`, rate per 100 disc-years;
        site `all` is the fleet.
    costs : DataFrame
        `year premature_cost owed_cost planned_cost`.
    data_quality : DataFrame
        `year measure share`: share of rows with install date, torque, each check, peak pressure.
    what_if : DataFrame
        What each change would have avoided over the log, asked alone: every disc fitted clean,
        every crew as the best quarter, the ratio lowered at the hardest positions, each step
        mended. `change about avoided avoided_low avoided_high share share_low share_high
        per_year per_year_low per_year_high money money_low money_high not_then not_priced
        positions note avoided_all_unclear avoided_no_unclear`: failures, of all failures, per
        year of the log, cost; `not_then` would not have happened when they did, but some of
        them later.
    owed_by_year : DataFrame
        Failures owed to each install step by the year they fell in: `year check about
        failures_owed failures_owed_low failures_owed_high cost_owed cost_owed_low
        cost_owed_high`.
    fitting : DataFrame
        How well discs were fitted, `of` the fleet, a site, a crew or a year of fitting: `of name
        installs passed failures avoided avoided_low avoided_high per_100 per_100_low
        per_100_high note`. `avoided`: failures of these discs avoided had they been fitted
        clean; `per_100`: failures that their defects add to the first year of 100 such installs.
    inferred : tuple of str
        What was inferred while making lives, in plain words.
    cautions : tuple of str
        What a reader must know before acting.
    not_answered : mapping of str to str
        Question to reason.
    past_forecasts : DataFrame
        Scores of forecasts from earlier days, when they were asked for: `method bias crps
        crps_ratio covered_50 covered_80 covered_95 weeks days made_on data_version`.
    data_version, model_version : str
        Digest of the accepted rows and their duty; package, model, seed and draws. The
        same two give the same findings.
    """

    title: str
    export_date: date
    log_begins: date
    currency: str
    rows: pd.DataFrame
    quarantine: pd.DataFrame
    lives: pd.DataFrame
    endings: Mapping[str, int]
    life_curve: pd.DataFrame
    hazard_curve: pd.DataFrame
    model: Model | None
    installation: Installation | None
    wear: Wear | None
    crews: pd.DataFrame
    lots: pd.DataFrame
    duty: pd.DataFrame
    intervals: pd.DataFrame
    interval_curves: Mapping[str, pd.DataFrame]
    spares: pd.DataFrame
    demand_weekly: pd.DataFrame
    dangerous: pd.DataFrame
    dangerous_bound: Estimate | None
    trend: pd.DataFrame
    costs: pd.DataFrame
    data_quality: pd.DataFrame
    sites: pd.DataFrame = field(default_factory=lambda: empty_frame("sites"))
    counts_alone: pd.DataFrame = field(default_factory=lambda: empty_frame("counts_alone"))
    lot_places: pd.DataFrame = field(default_factory=lambda: empty_frame("lot_places"))
    overdue: pd.DataFrame = field(default_factory=lambda: empty_frame("overdue"))
    policies: pd.DataFrame = field(default_factory=lambda: empty_frame("policies"))
    outage_plan: pd.DataFrame = field(default_factory=lambda: empty_frame("outage_plan"))
    outage_groups: pd.DataFrame = field(default_factory=lambda: empty_frame("outage_groups"))
    moves: pd.DataFrame = field(default_factory=lambda: empty_frame("moves"))
    kits: pd.DataFrame = field(default_factory=lambda: empty_frame("kits"))
    dead_stock: pd.DataFrame = field(default_factory=lambda: empty_frame("dead_stock"))
    stock_remarks: pd.DataFrame = field(default_factory=lambda: empty_frame("stock_remarks"))
    pooled: pd.DataFrame = field(default_factory=lambda: empty_frame("pooled"))
    placing: pd.DataFrame = field(default_factory=lambda: empty_frame("placing"))
    budget: pd.DataFrame = field(default_factory=lambda: empty_frame("budget"))
    duty_quarters: pd.DataFrame = field(default_factory=lambda: empty_frame("duty_quarters"))
    what_if: pd.DataFrame = field(default_factory=lambda: empty_frame("what_if"))
    owed_by_year: pd.DataFrame = field(default_factory=lambda: empty_frame("owed_by_year"))
    fitting: pd.DataFrame = field(default_factory=lambda: empty_frame("fitting"))
    past_forecasts: pd.DataFrame = field(default_factory=lambda: empty_frame("past_forecasts"))
    watch: pd.DataFrame = field(default_factory=lambda: empty_frame("watch"))
    watch_charts: pd.DataFrame = field(default_factory=lambda: empty_frame("watch_charts"))
    watch_path: pd.DataFrame = field(default_factory=lambda: empty_frame("watch_path"))
    programmes: pd.DataFrame = field(default_factory=lambda: empty_frame("programmes"))
    record_next: pd.DataFrame = field(default_factory=lambda: empty_frame("record_next"))
    inferred: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    not_answered: Mapping[str, str] = field(default_factory=dict)
    data_version: str = ""
    model_version: str = ""
