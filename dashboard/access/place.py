"""Where and to whom the dashboard is served, and which file keeps its people."""

import os
import tempfile
from dataclasses import dataclass
from pathlib import Path

from analytics.errors import InputError
from dashboard.access.people import Access, Role, open_access
from dashboard.access.sessions import one_time_token

__all__ = ["LOOPBACK", "Place", "access_for", "access_of", "link", "people_file"]

LOOPBACK = frozenset({"127.0.0.1", "localhost", "::1"})
FILE = "people.sqlite"


@dataclass(frozen=True, slots=True, kw_only=True)
class Place:
    """Where and to whom the dashboard is served.

    Attributes
    ----------
    host, port : str, int
        Where to listen.
    asked_by : tuple of str
        Names it answers to beside those of this machine.
    behind_tls, insecure, open_here : bool
        A TLS proxy stands in front; passwords may travel without one; no session is
        needed on this machine.
    """

    host: str = "127.0.0.1"
    port: int = 8050
    asked_by: tuple[str, ...] = ()
    behind_tls: bool = False
    insecure: bool = False
    open_here: bool = False

    @property
    def address(self) -> str:
        """What a reader types.

        Examples
        --------
        >>> Place().address
        'http://127.0.0.1:8050'
        >>> Place(host="0.0.0.0", asked_by=("discs.plant.example",), behind_tls=True).address
        'https://discs.plant.example'
        """
        if self.host not in LOOPBACK and self.asked_by and self.behind_tls:
            return f"https://{self.asked_by[0]}"
        name = self.asked_by[0] if self.host not in LOOPBACK and self.asked_by else self.host
        return f"http://{f'[{name}]' if ':' in name else name}:{self.port}"


def people_file(logs: Path) -> Path:
    """Name the file that keeps people and sessions of a log folder or a store file."""
    return logs / "recorded" / FILE if logs.is_dir() else logs.with_name(f"{logs.name}.{FILE}")


def access_of(logs: Path, *, secure: bool = False) -> Access:
    """Open the people of a log folder or store file, making the list if there is none.

    Raises
    ------
    InputError
        If there are no such logs, or the list cannot be written beside them.
    """
    if not logs.exists():
        raise InputError(f"no logs at {logs}; give the log folder or store file that is served")
    file = people_file(logs)
    try:
        file.parent.mkdir(exist_ok=True)
        return open_access(file, secure=secure)
    except OSError as error:
        raise InputError(f"people are kept in {file}, which fails: {error.strerror}") from None


def access_for(logs: Path, place: Place) -> Access | None:
    """Open the people and sessions that a start needs; none when it is to stand open.

    Logs that cannot be written still open by link, until discward ends.
    """
    if place.open_here:
        return None
    if not os.access(logs if logs.is_dir() else logs.parent, os.W_OK):
        own = Path(tempfile.mkdtemp(prefix="discward-")) / FILE
        return open_access(own, secure=place.behind_tls)
    return access_of(logs, secure=place.behind_tls)


def link(access: Access, place: Place, role: Role = Role.ADMIN) -> str:
    """Give a link that lets one browser in, once, within 15 minutes."""
    return f"{place.address}/enter/{one_time_token(access, role=role)}"
