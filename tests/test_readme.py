"""What the README points at exists, and every command it names can be called."""

import re
from pathlib import Path

import pytest
import typer

from dashboard.command import app

ROOT = Path(__file__).resolve().parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
COMMANDS = sorted(set(re.findall(r"bin/discward (\w+)", README)))
LINKS = sorted(set(re.findall(r"\]\(([^)#:]+)\)", README)))
STUDIES = sorted(set(re.findall(r"tests/[\w/]+\.py", README)))


@pytest.mark.parametrize("name", COMMANDS)
def test_command_of_the_readme_exists(name: str):
    assert name in typer.main.get_command(app).commands


@pytest.mark.parametrize("target", [*LINKS, *STUDIES])
def test_path_of_the_readme_exists(target: str):
    assert (ROOT / target).exists()


def test_readme_names_every_command():
    assert set(typer.main.get_command(app).commands) == set(COMMANDS)
