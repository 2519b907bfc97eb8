"""`discward people`: who may come into the dashboard of these logs, and as what."""

import getpass
from enum import Enum
from pathlib import Path
from typing import Annotated

import typer
from rich.console import Console

from analytics.errors import InputError
from dashboard.access import people as kept
from dashboard.access.people import Access, Role
from dashboard.access.place import Place, access_of, link
from dashboard.access.sessions import BY_LINK, end_all
from dashboard.changes import About, Kind, changes_file, note_change

__all__ = ["app"]

app = typer.Typer(
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    help="Who may come into the dashboard: add, list, role, password, revoke, remove, link.",
)
say = Console(soft_wrap=True, highlight=False)


class RoleWord(Enum):
    """A role as it is typed."""

    VIEWER = "viewer"
    EDITOR = "editor"
    ADMIN = "admin"


Logs = Annotated[Path, typer.Argument(help="The log folder or store file that is served.")]
Name = Annotated[str, typer.Argument(help="The person's name.")]
RoleOption = Annotated[
    RoleWord,
    typer.Option(
        help="viewer reads, editor also records, corrects and accepts, admin also sees the people."
    ),
]


@app.command()
def add(logs: Logs, name: Name, role: RoleOption = RoleWord.VIEWER) -> None:
    """Add a person; the password is asked for, never given on the command line."""
    access = access_of(logs)
    if any(person.name == name for person in kept.list_people(access)):
        raise InputError(f"{name} is there already; change the role or the password instead")
    kept.add_person(access, name, _new_password(), Role[role.name])
    _done(logs, f"added {name} as {role.value}")


@app.command(name="list")
def list_(logs: Logs) -> None:
    """List the people, their roles and how many sessions of theirs are open."""
    found = kept.list_people(access_of(logs))
    for person in found:
        say.print(
            f"{person.name}: {person.role.name.lower()}, {person.sessions} open sessions",
            markup=False,
        )
    if not found:
        say.print("nobody yet: the dashboard lets in by one-time link only")


@app.command()
def role(logs: Logs, name: Name, role: Annotated[RoleWord, typer.Argument()]) -> None:
    """Give a person another role; their sessions end."""
    kept.change_role(access_of(logs), name, Role[role.name])
    _done(logs, f"made {name} {role.value}")


@app.command()
def password(logs: Logs, name: Name) -> None:
    """Give a person another password, which is asked for; their sessions end."""
    access = access_of(logs)
    _known(access, name)
    kept.change_password(access, name, _new_password())
    _done(logs, f"gave {name} another password")


@app.command()
def revoke(logs: Logs, name: Name) -> None:
    """End every session of a person; they may log in again.

    Those let in by link are called "this machine".
    """
    access = access_of(logs)
    if name != BY_LINK:
        _known(access, name)
    end_all(access, name)
    _done(logs, f"ended the sessions of {name}")


@app.command()
def remove(logs: Logs, name: Name) -> None:
    """Remove a person and end their sessions."""
    kept.remove_person(access_of(logs), name)
    _done(logs, f"removed {name}")


@app.command(name="link")
def link_(
    logs: Logs,
    role: RoleOption = RoleWord.ADMIN,
    port: Annotated[int, typer.Option(min=1, max=65535, help="Port it is served on.")] = 8050,
) -> None:
    """Print a link that lets one browser of this machine in, once, within 15 minutes."""
    say.print(link(access_of(logs), Place(port=port), Role[role.name]), markup=False)


def _new_password() -> str:
    first = getpass.getpass("Password: ")
    if getpass.getpass("The same again: ") != first:
        raise InputError("the two passwords must be the same; nothing was changed")
    return first


def _known(access: Access, name: str) -> None:
    if all(person.name != name for person in kept.list_people(access)):
        raise InputError(f"there is no {name}")


def _done(logs: Path, what: str) -> None:
    note_change(changes_file(logs), Kind.PEOPLE, what, About(by=getpass.getuser()))
    say.print(what, markup=False)
