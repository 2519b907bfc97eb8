"""Records: drafts kept and found again, signed ones in the logs, nothing signed half done."""

import json
import threading
from datetime import date, timedelta
from pathlib import Path

import pytest
from small_logs import FILES, small_logs

from analytics.errors import InputError
from analytics.logs.reading import read_logs
from analytics.logs.store.importing import import_logs
from analytics.logs.store.loading import stored_logs
from analytics.logs.store.opening import open_store
from analytics.logs.tables import CHECKS
from dashboard.changes import About
from dashboard.recording.asking import Plant
from dashboard.recording.forms import Form, gap_spreads, problems_of, row_of
from dashboard.recording.keeping import (
    Keeper,
    draft,
    drafts,
    new_id,
    save_draft,
    sign,
    signed,
)
from dashboard.recording.taking import ELSEWHERE, piece_said

FULL = {
    "position_id": "P-1",
    "installed_on": "2024-09-30",
    "disc_code": "FS-100-06",
    "lot": "L7",
    "marked_burst_pressure": 6.1,
    "crew": "crew A",
    "torque_target": 80,
    "torque_applied": 79.5,
    "torque_steps": "25/50/75/100",
    **{f"gap_4_{point}": gap for point, gap in enumerate((1.2, 1.25, 1.3, 1.2), start=1)},
    **dict.fromkeys(CHECKS, "yes"),
    "signed_by": "A. Fitter",
}


@pytest.fixture
def keeper(tmp_path: Path) -> Keeper:
    return Keeper(small_logs(tmp_path / "logs"))


def test_a_signed_install_is_read_with_the_other_installs(keeper: Keeper):
    sign(keeper, Form.INSTALL, "I-20240930-abc123", FULL)
    logs = read_logs(keeper.folder)
    row = logs.tables["installs"].set_index("install_id").loc["I-20240930-abc123"]

    assert logs.quarantine.empty
    assert len(logs.tables["installs"]) == 2
    assert row["torque_applied_nm"] == 79.5
    assert row["gap_spread_mm"] == pytest.approx(0.1)
    assert row["marked_burst_pressure_barg"] == 6.1
    assert row["gap_even"]


def test_a_signed_removal_is_read_too(keeper: Keeper):
    entries = {
        "position_id": "P-1",
        "found_on": "2024-08-01",
        "reason": "leak",
        "last_good_on": "2024-07-01",
        "signed_by": "A. Fitter",
    }
    sign(keeper, Form.REMOVAL, "R-1", entries)

    assert read_logs(keeper.folder).tables["removals"]["reason"].tolist() == ["leak"]


def test_two_records_stand_one_under_the_other(keeper: Keeper):
    sign(keeper, Form.INSTALL, "I-a", FULL)
    sign(keeper, Form.INSTALL, "I-b", FULL | {"position_id": "P-2", "crew": "=evil()"})

    rows = signed(keeper, Form.INSTALL)
    assert rows["install_id"].tolist() == ["I-a", "I-b"]
    assert rows["crew"].tolist() == ["crew A", "=evil()"]
    assert "'=evil()" in (keeper.folder / "installs_recorded.csv").read_text(encoding="utf-8-sig")


@pytest.mark.parametrize("missing", ["position_id", "installed_on", "signed_by", "gap_even"])
def test_nothing_half_done_is_signed(keeper: Keeper, missing: str):
    with pytest.raises(InputError):
        sign(keeper, Form.INSTALL, "I-a", FULL | {missing: ""})

    assert signed(keeper, Form.INSTALL).empty
    assert len(read_logs(keeper.folder).tables["installs"]) == 1


@pytest.mark.parametrize(
    ("field", "entry"),
    [("installed_on", "30/09/2024"), ("torque_steps", "quarter, half"), ("torque_applied", -4)],
)
def test_what_cannot_be_read_is_named_with_its_mend(field: str, entry: object):
    found = problems_of(Form.INSTALL, FULL | {"install_id": "x", field: entry})

    assert [problem.field for problem in found] == [field]
    assert found[0].mend


def test_a_number_is_signed_only_once(keeper: Keeper):
    sign(keeper, Form.INSTALL, "I-a", FULL)
    with pytest.raises(InputError, match="signed already"):
        sign(keeper, Form.INSTALL, "I-a", FULL)


def test_a_draft_is_kept_replaced_and_gone_when_signed(keeper: Keeper):
    save_draft(keeper, Form.INSTALL, "I-a", {"position_id": "P-1"})
    save_draft(keeper, Form.INSTALL, "I-a", {"position_id": "P-2"})
    assert drafts(keeper) == ["I-a"]
    assert draft(keeper, "I-a") == (Form.INSTALL, {"position_id": "P-2"})

    sign(keeper, Form.INSTALL, "I-a", FULL)
    assert drafts(keeper) == []
    assert draft(keeper, "I-a") is None


@pytest.mark.parametrize("name", ["../../etc/passwd", "a/b", "", "x" * 50, "a.b", "\x00"])
def test_a_number_never_leaves_its_folder(keeper: Keeper, name: str):
    assert draft(keeper, name) is None
    with pytest.raises(InputError, match="letters, digits and dashes"):
        save_draft(keeper, Form.INSTALL, name, {})


def test_every_signature_leaves_who_when_what_data_and_model(keeper: Keeper):
    seen = About(by="", account="ada", data_version="0123456789ab", model_version="discward 1")
    sign(keeper, Form.INSTALL, "I-a", FULL, who=seen)
    (line,) = (keeper.aside / "changes.jsonl").read_text(encoding="utf-8").splitlines()
    note = json.loads(line)

    assert (note["account"], note["data_version"], note["model_version"]) == (
        "ada",
        "0123456789ab",
        "discward 1",
    )

    assert note["by"] == "A. Fitter"
    assert note["what"] == "signed installs record I-a"
    assert note["at"].endswith("+00:00")


def test_drafts_and_notes_are_no_log_tables(keeper: Keeper):
    save_draft(keeper, Form.INSTALL, "I-a", FULL)

    assert len(read_logs(keeper.folder).tables["installs"]) == 1


def test_spread_needs_all_four_points():
    gaps = {"gap_1_1": 1.0, "gap_1_2": 1.2, "gap_1_3": 1.1}

    assert gap_spreads(gaps) == [None, None, None, None]
    assert gap_spreads(gaps | {"gap_1_4": 1.5})[0] == pytest.approx(0.5)


def test_row_holds_every_column_of_the_table():
    row = row_of(Form.INSTALL, FULL)

    assert row["torque_target [N.m]"] == "80"
    assert row["gap_spread [mm]"] == "0.1"
    assert row["holder_id"] == ""


def test_numbers_are_their_own():
    assert len({new_id(Form.INSTALL) for _ in range(200)}) == 200


def test_the_plant_says_what_a_position_needs(keeper: Keeper):
    plant = Plant(keeper.folder)

    assert plant.positions == ["P-1", "P-2"]
    assert plant.disc_at("P-1")["nominal_size"] == "DN100"
    assert plant.disc_at("nowhere") == {}
    assert plant.lots_of("FS-100-06") == {"L7"}


def left(plant: Plant) -> dict[str, int]:
    return {piece.lot: piece.left for piece in plant.pieces()}


def test_an_install_takes_its_piece_and_the_last_one_can_be_taken_only_once(keeper: Keeper):
    plant = Plant(keeper.folder)
    assert left(plant) == {"L7": 2}
    for name in ("I-a", "I-b"):
        sign(keeper, Form.INSTALL, name, FULL, plant=plant)
    assert left(plant) == {"L7": 0}
    chosen = FULL | {"piece": plant.pieces()[0].name}
    with pytest.raises(InputError, match=r"ST-N has no piece of FS-100-06, lot L7, left"):
        sign(keeper, Form.INSTALL, "I-c", chosen, plant=plant)
    with pytest.raises(InputError, match="choose the piece"):
        sign(keeper, Form.INSTALL, "I-c", FULL, plant=plant)

    logs = read_logs(keeper.folder)
    assert logs.tables["stock"]["quantity"].tolist() == [0]
    assert len(logs.tables["installs"]) == 3
    assert any("since the stock was counted: 2" in note for note in logs.notes)
    changes = (keeper.aside / "changes.jsonl").read_text(encoding="utf-8")
    assert changes.count("which takes one FS-100-06 of ST-N") == 2


def test_two_crews_at_once_cannot_both_take_the_last_piece(keeper: Keeper):
    (keeper.folder / "stock.csv").write_text(FILES["stock.csv"].replace(",2\n", ",1\n"))
    plant, refused = Plant(keeper.folder), []

    def crew(name: str) -> None:
        try:
            sign(keeper, Form.INSTALL, name, FULL, plant=plant)
        except InputError as error:
            refused.append(str(error))

    crews = [threading.Thread(target=crew, args=(f"I-{n}",)) for n in range(4)]
    for one in crews:
        one.start()
    for one in crews:
        one.join()

    assert len(refused) == 3
    assert len(signed(keeper, Form.INSTALL)) == 1


def test_a_new_count_of_the_stock_counts_what_was_taken(keeper: Keeper):
    plant = Plant(keeper.folder)
    sign(keeper, Form.INSTALL, "I-a", FULL, plant=plant)
    (keeper.folder / "stock.csv").write_text(FILES["stock.csv"].replace(",2\n", ",7\n"))

    assert left(plant) == {"L7": 7}
    assert read_logs(keeper.folder).tables["stock"]["quantity"].tolist() == [7]


def test_a_disc_from_elsewhere_takes_nothing(keeper: Keeper):
    plant = Plant(keeper.folder)
    sign(keeper, Form.INSTALL, "I-a", FULL | {"lot": "L9", "piece": ELSEWHERE}, plant=plant)

    assert left(plant) == {"L7": 2}


@pytest.mark.parametrize(
    ("entries", "said"),
    [
        ({"lot": "L9"}, "choose the piece that was taken"),
        ({"lot": "L9", "piece": '["ST-N", "FS-100-06", "L7"]'}, "the tag reads FS-100-06, lot L9"),
        ({"piece": '["ST-X", "FS-100-06", "L7"]'}, "choose the piece that was taken"),
        ({"piece": "nonsense"}, "choose the piece that was taken"),
    ],
)
def test_the_piece_must_be_the_one_that_was_fitted(keeper: Keeper, entries: dict, said: str):
    with pytest.raises(InputError, match=said):
        sign(keeper, Form.INSTALL, "I-a", FULL | entries, plant=Plant(keeper.folder))
    assert signed(keeper, Form.INSTALL).empty


def test_without_stock_on_record_no_piece_is_asked_for(keeper: Keeper):
    (keeper.folder / "stock.csv").unlink()
    sign(keeper, Form.INSTALL, "I-a", FULL, plant=Plant(keeper.folder))

    assert len(signed(keeper, Form.INSTALL)) == 1


def test_what_will_be_taken_is_said_before_signing(keeper: Keeper):
    pieces = Plant(keeper.folder).pieces()

    assert piece_said(FULL, pieces) == (
        "Signing takes one piece: FS-100-06, lot L7, in ST-N: 2 left now, 1 after."
    )
    assert piece_said(FULL | {"piece": ELSEWHERE}, pieces).startswith("From elsewhere")
    assert piece_said(FULL | {"lot": "L9"}, pieces).startswith("Choose the piece")
    assert piece_said(FULL, []) == "No stock is on record, so no piece is taken off it."


def test_a_record_after_the_export_date_moves_it_and_says_so(keeper: Keeper):
    sign(keeper, Form.INSTALL, "I-a", FULL | {"installed_on": "2025-03-09"})
    logs = read_logs(keeper.folder)

    assert logs.quarantine.empty
    assert str(logs.settings.export_date) == "2025-03-09"
    assert any("records signed here reach to 2025-03-09" in note for note in logs.notes)
    assert not any("records signed here" in note for note in earlier(keeper))


def earlier(keeper: Keeper) -> tuple[str, ...]:
    """What is said when no record lies after the export date."""
    text = (keeper.folder / "installs_recorded.csv").read_text(encoding="utf-8-sig")
    (keeper.folder / "installs_recorded.csv").write_text(text.replace("2025-03-09", "2024-12-31"))
    return read_logs(keeper.folder).notes


@pytest.mark.parametrize(
    ("form", "field"), [(Form.INSTALL, "installed_on"), (Form.REMOVAL, "found_on")]
)
def test_nothing_is_recorded_ahead_of_its_day(form: Form, field: str):
    tomorrow = str(date.today() + timedelta(days=1))
    found = problems_of(form, FULL | {field: tomorrow})

    assert f"a day up to today, got {tomorrow}" in " ".join(problem.mend for problem in found)


def test_an_import_counts_the_stock_without_the_piece_taken(keeper: Keeper, tmp_path: Path):
    store = open_store(tmp_path / "plant.db")
    import_logs(store, keeper.folder, by="ada")
    assert stored_logs(store).tables["stock"]["quantity"].tolist() == [2]
    sign(
        keeper,
        Form.INSTALL,
        "I-a",
        FULL | {"installed_on": "2025-03-09"},
        plant=Plant(keeper.folder),
    )
    import_logs(store, keeper.folder, by="ada")

    stored = stored_logs(store)
    assert stored.tables["stock"]["quantity"].tolist() == [1]
    assert "I-a" in stored.tables["installs"]["install_id"].tolist()
    assert str(stored.settings.export_date) == "2025-03-09"
