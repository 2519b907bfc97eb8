"""The questions readers bring week by week, and the view that answers each."""

from dataclasses import dataclass

__all__ = ["GLOSSARY", "QUESTIONS", "Question"]

ENGINEER = "reliability engineer"
PLANNER = "storeroom planner"
MANAGER = "manager"


@dataclass(frozen=True, slots=True, kw_only=True)
class Question:
    """One question, who asks it, and where its answer stands.

    Attributes
    ----------
    reader : str
        Who asks.
    text : str
        The question.
    page : str
        Path of the page that answers it, blank when none does.
    view : str
        Name of the part of that page.
    how : str
        How to read the answer, or why there is none.
    """

    reader: str
    text: str
    page: str
    view: str
    how: str


def _asked(reader: str, *rows: tuple[str, str, str, str]) -> tuple[Question, ...]:
    return tuple(
        Question(reader=reader, text=text, page=page, view=view, how=how)
        for text, page, view, how in rows
    )


QUESTIONS = (
    *_asked(
        ENGINEER,
        (
            "Which positions run above the ratio their disc allows, and for how long?",
            "early",
            "Which positions run too close to the burst pressure?",
            "Sort by “Hours above”; the definition of the ratio stands under the figure.",
        ),
        (
            "What caused last month's burst, and what could rule each cause out?",
            "early",
            "Every premature failure, one by one",
            "Open the case: what to do on Monday, rival causes, the record that settles each.",
        ),
        (
            "Which fitting practice raises early bursts, beyond noise, on equal duty?",
            "early",
            "Which install defect costs most?",
            "An interval that keeps clear of zero is more than noise.",
        ),
        (
            "What life would a lower operating pressure or another family buy?",
            "early",
            "What would have been avoided",
            "Failures a lower ratio at the hardest positions would have spared, inside the ratios"
            " seen; what a lower ratio buys in life stands under “When do discs fail”.",
        ),
        (
            "Is this lot bad, and where else is it?",
            "early",
            "Crews and lots",
            "A suspect lot lists every bin and position that holds it and what else explains it.",
        ),
        (
            "Does the hazard really grow with age, or do I replace good discs for nothing?",
            "intervals",
            "When should each disc be replaced?",
            "The last sentence gives the wear shape with its interval.",
        ),
        (
            "How often do discs show signs of not opening, and how many true demands were there?",
            "early",
            "Dangerous findings first",
            "One by one, with the rate that the log does not exclude. True demands are the disc"
            " lives that ended in a real overpressure.",
        ),
        (
            "Which discs have used up most of their cycles?",
            "early",
            "Which positions run too close to the burst pressure?",
            "Cycles a year by position; the age in place stands on the position's page. How many"
            " cycles a disc bears no log says, so no share used is given.",
        ),
        (
            "If many bursts called premature were spikes, does anything change?",
            "early",
            "What would have been avoided",
            "Every number with all unclear endings premature and with none, here and under the"
            " steps.",
        ),
        (
            "Which positions teach nothing, and what should be recorded there?",
            "early",
            "What to record next",
            "Checks by how much narrower their limits would be were they on every record.",
        ),
    ),
    *_asked(
        PLANNER,
        (
            "Which discs will be needed by when, and for what reason?",
            "storeroom",
            "Every store and disc code",
            "Split into planned, premature, upsets and losses in fitting.",
        ),
        (
            "Which stock can serve which positions today?",
            "storeroom",
            "Every store and disc code",
            "“Usable stock” counts pieces whose marked pressure fits, “All stock” every piece."
            " Which piece goes to which position is not listed.",
        ),
        (
            "Where will I run out before the next lot, and what must I order this week?",
            "storeroom",
            "Order this week",
            "Dearest to miss comes first, by date.",
        ),
        (
            "How big should the lot be?",
            "storeroom",
            "Order this week",
            "The order size weighs charge per lot, minimum order and shelf life.",
        ),
        (
            "If one upset opens several discs, can we restart with what is left?",
            "storeroom",
            "Will the stock last?",
            "Upsets enter the demand as groups; compare the band with the stock line.",
        ),
        (
            "What does the outage kit need, what is short, what comes late?",
            "storeroom",
            "Missing for the coming outages",
            "Planned discs with a reserve for losses, against stock and orders, soonest first.",
        ),
        (
            "Which items are dead stock?",
            "storeroom",
            "Pieces nobody can take",
            "By code, mark or last day of use, each with the reason.",
        ),
        (
            "Which positions share a disc, and what would pooling save?",
            "storeroom",
            "What one shared stock would save",
            "Pieces held apart against pieces held in one place, per code.",
        ),
        (
            "How many discs are lost in fitting?",
            "storeroom",
            "Every store and disc code",
            "In the column “of it lost in fitting”; not split by crew.",
        ),
        (
            "Which pieces near their last day, and how good was the last forecast?",
            "storeroom",
            "What is odd about stock and orders",
            "Pieces past it are named there, those near it are not; “Check past forecasts” adds"
            " the record of earlier forecasts.",
        ),
    ),
    *_asked(
        MANAGER,
        (
            "Are premature bursts falling, by site, on comparable exposure?",
            "fleet",
            "Premature failures per 100 disc-years",
            "Choose sites in the filters; every year carries its interval. The part below it,"
            " “Which site is worse on equal duty?”, takes the duty out.",
        ),
        (
            "What did premature bursts cost, and what share came from installation?",
            "fleet",
            "What it costs",
            "The hatched part of each bar is owed to installation.",
        ),
        (
            "Which five positions lose most, and what single action helps each?",
            "fleet",
            "Where a better installation would save most",
            "Cost on record times the share owed to installation.",
        ),
        (
            "Who is past the cap, and by how much?",
            "intervals",
            "Past the cap",
            "Listed before anything else on the page.",
        ),
        (
            "What if the interval were longer where that is allowed?",
            "intervals",
            "What would following these ages change?",
            "Cost, failures and discs for today's ages, the proposed ones, and none at all. What"
            " waiting does to a disc that fails to open is not reckoned: the cap guards that, and"
            " the responsible engineer signs.",
        ),
        (
            "Does the installation programme work?",
            "early",
            "What did the improvement programmes change?",
            "The ratio since over before, with limits; below 1 throughout is a gain shown. Checks"
            " passed by year stand on the fleet's page.",
        ),
        (
            "Which site is truly worse, and which only runs harder?",
            "fleet",
            "Which site is worse on equal duty?",
            "Failures over those its duty explains, with limits; below five no ratio is shown.",
        ),
        (
            "What budget and stock value will next year need?",
            "storeroom",
            "What the next money buys",
            "Each line is the chance left of running out, 5 or 1 %, for the money spent so far.",
        ),
        (
            "How good are our data, and are they getting better?",
            "fleet",
            "Is the work getting better, and the records?",
            "Share of records that hold each thing, by year.",
        ),
        (
            "What could go badly wrong that is not to be seen here?",
            "logs",
            "What could not be answered",
            "With the cautions beside it. Premature life says nothing about failing to open.",
        ),
    ),
)
"""Thirty questions: ten each from engineer, planner and manager."""

GLOSSARY = {
    "Premature failure": (
        "A burst below the marked burst pressure less its tolerance or without an upset, a leak,"
        " or damage found."
    ),
    "Real overpressure": "A burst that was the disc's duty. It uses a spare, but is no wear.",
    "Unclear": "A burst with neither a peak pressure nor a word on an upset. It stays visible.",
    "Dangerous": "A disc that did not open, or was intact after a pressure meant to open it.",
    "Owed to installation": (
        "The part of a failure's hazard that would be missing had every install check passed."
    ),
    "Operating ratio": (
        "Operating pressure, less back pressure, over burst pressure. The definition in force"
        " stands under every figure: min_burst takes the marked pressure less its tolerance."
    ),
    "[a to b]": "Limits that hold the true value 95 times in 100, if the model is right.",
    "Cap": "The smallest of the maker's, the code's and the site's replacement interval.",
    "Usable stock": "Pieces whose marked pressure fits a position and that are not expired.",
}
"""The words of the pages, in plain terms."""
