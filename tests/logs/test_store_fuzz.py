import pandas as pd
import pytest
from fuzzing import LAST_DAY, dirty_file

from analytics.errors import InputError
from analytics.logs.checking import accepted, check_table, quarantine
from analytics.logs.files import read_file
from analytics.logs.headers import count_known
from analytics.logs.settings import Settings
from analytics.logs.store import loading
from analytics.logs.store.importing import prepare, write_import
from analytics.logs.store.opening import open_store, reading

SETTINGS = Settings(export_date=LAST_DAY)


def check(table, raws):
    return check_table(table, raws, SETTINGS, last_day=LAST_DAY)


@pytest.mark.parametrize("block", range(4))
def test_dirty_rows_come_out_of_the_store_as_they_went_in(tmp_path, block):
    compared = 0
    for seed in range(20_000 + 40 * block, 20_040 + 40 * block):
        table, path = dirty_file(seed, tmp_path, workbook=False)
        try:
            raw = read_file(
                path,
                SETTINGS,
                sheets=[],
                known=lambda cells, table=table: count_known(cells, table, SETTINGS),
            )
            before = check(table, [raw])
        except InputError:
            continue
        store = open_store(tmp_path / f"{seed}.sqlite")
        write_import(store, prepare({table.name: [raw]}, SETTINGS), by="me")
        with reading(store) as connection:
            kept = loading._records_that_count(connection).get(table.name, [])
        after = check(table, loading._as_files(table, kept) or [loading._no_rows(table)])

        assert after.read == before.read, seed
        pd.testing.assert_frame_equal(
            accepted(after).reset_index(drop=True).drop(columns="source_file"),
            accepted(before).reset_index(drop=True).drop(columns="source_file"),
            check_exact=True,
        )
        shown = ["line", "column", "reason", "required", "mend", "raw"]
        pd.testing.assert_frame_equal(
            quarantine(after)[shown].sort_values(shown, ignore_index=True),
            quarantine(before)[shown].sort_values(shown, ignore_index=True),
            check_dtype=False,
        )
        compared += 1
    assert compared > 20
