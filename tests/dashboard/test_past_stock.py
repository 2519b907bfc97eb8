import pandas as pd

from dashboard.past_stock import late_table, past_stock_table, past_stock_words


def replayed(short: int) -> pd.DataFrame:
    rows = [
        ("discward", "north", "D1", 40, short, 2 * short, 5, 45, 4000.0, 1000.0),
        ("discward", "south", "D2", 10, 0, 0, 2, 12, 800.0, 200.0),
        ("rolling mean", "north", "D1", 40, 8, 11, 5, 40, 3500.0, 900.0),
        ("rolling mean", "south", "D2", 10, 2, 3, 2, 12, 800.0, 200.0),
    ]
    columns = "method store disc_code used short weeks_out orders bought order_cost holding_cost"
    return pd.DataFrame(rows, columns=columns.split())


def test_words_say_what_was_short_what_it_cost_and_what_to_look_at():
    said = past_stock_words(replayed(1), "EUR")

    assert said[0] == (
        "With stock levels from these forecasts 49 of 50 discs (98.0 %) would have been there "
        "when needed and 1 not, for 6,000 EUR of ordering and holding."
    )
    assert said[1].startswith("With levels from a rolling mean 40 of 50 discs (80.0 %) would")
    assert said[2].startswith("Short in 1 pair of store and disc code")


def test_nothing_short_and_nothing_replayed():
    assert past_stock_words(replayed(0), "EUR")[-1].startswith("No store would have run out")
    assert late_table(replayed(0)).empty
    assert past_stock_words(pd.DataFrame(), "EUR") == []


def test_tables_add_up_and_name_the_worst_first():
    table = past_stock_table(replayed(1), "EUR").set_index("levels from")

    assert table.loc["discward", "together, EUR"] == 6000
    assert table.loc["rolling mean", "not there when needed"] == 10
    late = late_table(replayed(3))
    assert late.iloc[0].tolist() == ["north", "D1", 40, 3, 6, 8]
