import random
from datetime import date
from pathlib import Path

import pytest
from fuzzing import check_laws, dirty_file, fuzz
from shares import share

from analytics.errors import InputError
from analytics.logs import files, records
from analytics.logs.proposing import propose
from analytics.logs.settings import parse_settings

RESULTS = Path(__file__).parents[1] / "studies" / "results"
FULL = 10_000
PART = range(share(FULL))


def test_a_part_of_the_dirty_files_breaks_no_law(tmp_path):
    outcomes = fuzz(PART, tmp_path, every_nth_workbook=25)

    assert sum(outcomes.values()) == len(PART)
    # The corpus must reach every branch, or it proves nothing.
    assert min(outcomes[kind] for kind in ("refused", "held some", "all good")) > len(PART) // 50


def test_a_draft_of_dirty_files_is_always_valid(tmp_path):
    drafted = 0
    for seed in range(10_001, 10_151):
        _, path = dirty_file(seed, tmp_path, workbook=False)
        try:
            parse_settings(propose(tmp_path))
            drafted += 1
        except InputError as error:
            if "logs.toml" in str(error):
                raise AssertionError(f"seed {seed}: the draft is not valid: {error}") from error
        path.unlink()
    assert drafted > 75


@pytest.mark.study
def test_all_the_dirty_files_break_no_law(tmp_path):
    outcomes = fuzz(range(FULL), tmp_path, every_nth_workbook=4)

    lines = [f"{date.today()},{FULL},{kind},{count}" for kind, count in sorted(outcomes.items())]
    RESULTS.mkdir(exist_ok=True)
    (RESULTS / "logs_fuzz.csv").write_text("\n".join(["date,files,outcome,count", *lines]) + "\n")


def dropping(real):
    def gather(items, *arguments):
        return real((item for item in items if random.random() < 0.97), *arguments)

    return gather


@pytest.mark.parametrize(
    ("module", "name", "fault"),
    [
        # A reader that forgets a record now and then.
        (records, "_gather", dropping),
        # A reader that swallows what cannot be split.
        (records, "_broken", lambda real: lambda *a: records.Broken(line=1, raw="", required="")),
        # A reader that lets an exception of its own out.
        (files, "_decode", lambda real: lambda data, *a: (data.decode("utf-8").splitlines(), ())),
    ],
    ids=["forgets", "swallows", "raises"],
)
def test_the_laws_catch_a_faulty_reader(tmp_path, monkeypatch, module, name, fault):
    random.seed(1)
    monkeypatch.setattr(module, name, fault(getattr(module, name)))

    with pytest.raises(AssertionError, match="seed"):
        fuzz(range(1, 200), tmp_path, every_nth_workbook=1000)


def test_a_seed_writes_the_same_file_again(tmp_path):
    table, path = dirty_file(7, tmp_path, workbook=False)
    first = path.read_bytes()

    assert dirty_file(7, tmp_path, workbook=False) == (table, path)
    assert path.read_bytes() == first
    check_laws(table, path)
