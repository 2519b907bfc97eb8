import pytest

from analytics.logs.reading import read_logs
from analytics.logs.settings import parse_settings
from analytics.logs.tables import TABLES
from analytics.logs.templates import column_guide, write_templates


def test_the_empty_files_are_logs_without_rows(tmp_path):
    write_templates(tmp_path)
    logs = read_logs(tmp_path)

    assert logs.present == set(TABLES)
    assert logs.rows["read"].sum() == 0


def test_the_example_is_accepted_whole_and_fills_every_table(tmp_path):
    write_templates(tmp_path)
    logs = read_logs(tmp_path / "example")

    assert logs.quarantine.empty, logs.quarantine.to_string()
    assert logs.rows["accepted"].tolist() == [1] * len(TABLES)
    assert logs.notes == ()


@pytest.mark.parametrize("table", TABLES.values(), ids=lambda table: table.name)
def test_the_guide_names_every_column(table):
    guide = column_guide().split(f"## {table.name}\n")[1].split("## ")[0]

    for column in table.columns:
        assert f"| `{column.name}` |" in guide
        assert all(word in guide for word in column.allowed)


def test_every_line_of_the_settings_template_is_valid(tmp_path):
    write_templates(tmp_path)
    text = (tmp_path / "logs.toml").read_text(encoding="utf-8")
    settings = parse_settings(text.replace("\n# ", "\n"))

    assert settings.date_format == "%d/%m/%Y"
    assert settings.renamed[0].now == "P-101"
    assert settings.words["removals"]["reason"] == {"PM": "planned"}
