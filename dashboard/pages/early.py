"""The reliability engineer's first page: which early failures were owed to fitting."""

from dash import html

from dashboard.avoided import CAVEAT, avoided_answer, steps_worth
from dashboard.components.blocks import answer, figure, message, section
from dashboard.components.set_aside import set_aside
from dashboard.components.tables import grid, plain
from dashboard.early_sentences import early_answer, early_part
from dashboard.figures.avoided import avoided_figure
from dashboard.figures.duty import duty_figure
from dashboard.figures.life import hazard_figure, life_figure
from dashboard.figures.steps import steps_figure
from dashboard.interval_sentences import changed_duty_sentence, gain_sentence
from dashboard.pages.watching import programmes_part, record_next_part, watch_part
from dashboard.sentences import dangerous_sentence
from dashboard.view import View
from dashboard.words import count, percent, sentence

__all__ = ["page"]


def page(view: View) -> html.Div:
    """Dangerous findings, the answer, the worst step, then every failure as a case."""
    return html.Div(
        [
            _dangerous(view),
            answer(
                "Which early failures were owed to the installation?",
                [
                    *view.once("early answer", lambda: early_answer(view.whole)),
                    "" if view.selection.is_whole else early_part(view.findings),
                ],
                for_whom="For the reliability engineer",
            ),
            _steps(view),
            view.once("avoided part", lambda: _avoided(view)),
            view.once("record next part", lambda: record_next_part(view)),
            _failures(view),
            view.once("hazard part", lambda: _hazard(view)),
            view.once("counts part", lambda: _counts_alone(view)),
            view.once("watch part", lambda: watch_part(view)),
            view.once("programmes part", lambda: programmes_part(view)),
            _crews_and_lots(view),
            _duty(view),
            section("Every position's duty", grid("duty", view)),
        ]
    )


def _dangerous(view: View) -> html.Section:
    rows = view.findings.dangerous
    return html.Section(
        [
            html.H2("Dangerous findings first"),
            html.P(dangerous_sentence(view.findings)),
            plain("dangerous", view) if len(rows) else None,
        ],
        className="part danger" if len(rows) else "part",
    )


def _steps(view: View) -> html.Section:
    early = view.findings.installation
    if early is None:
        return section("Which install defect costs most?", message("No install step was judged."))
    unclear = (
        " Taking every unclear burst as premature gives"
        f" {percent(early.share_all_unclear.estimate)},"
        f" taking none gives {percent(early.share_no_unclear.estimate)}."
        if early.share_all_unclear and early.share_no_unclear
        else ""
    )
    return section(
        "Which install defect costs most?",
        figure(
            view,
            view.once("steps", lambda: steps_figure(early.defects)),
            says="Premature failures owed to each install defect, with 95 % limits.",
            twin=plain("install-steps", view),
            of_all=True,
            rows=("failures",),
        ),
        html.P(steps_worth(view.whole)),
        html.Details([html.Summary("Year by year"), grid("owed-by-year", view)]),
        note=f"A defect is a check answered no. A check left blank is not a pass.{unclear}",
    )


def _avoided(view: View) -> html.Section:
    title = "What would have been avoided"
    table = view.whole.what_if
    if table.empty:
        return section(title, *map(message, avoided_answer(view.whole)))
    return section(
        title,
        *(html.P(sentence) for sentence in avoided_answer(view.whole)),
        figure(
            view,
            avoided_figure(table),
            says="Premature failures that each change would have avoided, with 95 % limits.",
            twin=plain("what-if", view),
            of_all=True,
            rows=("failures",),
        ),
        note=CAVEAT,
    )


def _counts_alone(view: View) -> html.Section:
    rows = view.whole.counts_alone
    return section(
        "What the counts alone say",
        plain("counts-alone", view)
        if len(rows)
        else message("No check was recorded both ways on discs old enough to compare."),
        note=(
            "A first look, adjusted for nothing: it knows neither duty nor age nor the other"
            " checks, so a defect made on hard positions looks worse than it is. Where it and the"
            " model above differ, the model weighs more. One test in twenty falls below 0.05 by"
            " chance. Discs taken out for another reason, or not yet watched, within a year of"
            " fitting are left out, and so is a check that was not recorded."
        ),
    )


def _failures(view: View) -> html.Section:
    return section(
        "Every premature failure, one by one",
        grid("failures", view),
        note="Open a case for its sheet: the evidence for each cause, and what could rule it out.",
    )


def _hazard(view: View) -> html.Section:
    whole = view.whole
    return section(
        "When do discs fail, and why then?",
        html.Div(
            [
                figure(
                    view,
                    life_figure(whole.life_curve, view.units),
                    says="Share of discs without a premature failure by age (Kaplan-Meier).",
                    twin=plain("life-curve", view),
                    of_all=True,
                ),
                figure(
                    view,
                    hazard_figure(whole.hazard_curve, view.units),
                    says="Yearly hazard of a middling disc, split by the model.",
                    twin=plain("hazard-curve", view),
                    of_all=True,
                ),
            ],
            className="pair",
        ),
        *(html.P(sentence) for sentence in _on_the_model(view) if sentence),
    )


def _on_the_model(view: View) -> tuple[str, ...]:
    model = view.whole.model
    if model is None:
        return ()
    why, fit = (sentence(said) for said in (model.why, model.fit_statement))
    return (
        gain_sentence(view.whole),
        changed_duty_sentence(view.whole),
        f"The model: {model.name}. {why}",
        fit,
    )


def _crews_and_lots(view: View) -> html.Section:
    return section(
        "Crews and lots",
        plain("crews", view),
        *set_aside(view),
        html.Details([html.Summary("All lots"), grid("lots", view)]),
        html.Details([html.Summary("How well each site and crew fits"), _fitting(view)]),
        note=(
            "Compared on equal duty and drawn towards the average where the numbers are small;"
            " below five events no ratio is shown. An association, not blame."
        ),
    )


def _fitting(view: View) -> html.Div:
    rows = view.findings.fitting
    return html.Div(
        [
            html.P(
                "Failures that the defects on record add to the first year of 100 such discs on"
                " the fleet's middling duty; and of the failures there were, those that clean"
                " fitting would have avoided. Crews stand by name, not by rank."
            ),
            plain("fitting-quality", view, rows[rows["of"] != "year"] if len(rows) else rows),
        ]
    )


def _duty(view: View) -> html.Section:
    return section(
        "Which positions run too close to the burst pressure?",
        figure(
            view,
            duty_figure(view.findings.duty),
            says=f"Operating ratio at {count(len(view.findings.duty), 'position')} and the highest"
            " its disc allows.",
            rows=("duty",),
        ),
    )
