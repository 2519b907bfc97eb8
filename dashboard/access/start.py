"""From findings to a served dashboard: checked first, then told where it is."""

from collections.abc import Callable
from pathlib import Path

from analytics.findings import Findings
from dashboard.access.people import Access, people
from dashboard.access.place import Place, access_for, link
from dashboard.app import build_app
from dashboard.gate import LOCAL_HOSTS
from dashboard.serving import check_start, serve

__all__ = ["admit", "start"]


def admit(logs: Path, place: Place) -> Access | None:
    """Open people and sessions, before any work is done, unless the start is unsafe.

    Raises
    ------
    InputError
        If the start would let anybody in.
    """
    access = access_for(logs, place)
    check_start(
        place.host,
        access=access,
        hosts=(*LOCAL_HOSTS, *place.asked_by),
        insecure=place.insecure,
        open_here=place.open_here,
    )
    return access


def start(
    findings: Findings,
    logs: Path,
    place: Place,
    access: Access | None,
    tell: Callable[[str], None],
) -> None:
    """Serve findings until stopped; tell the address, or the link that lets the first in."""
    app = build_app(
        findings,
        logs=logs if logs.is_dir() else None,
        access=access,
        hosts=(*LOCAL_HOSTS, *place.asked_by),
    )
    tell(_welcome(access, place))
    serve(app, place.host, place.port, insecure=place.insecure, open_here=place.open_here)


def _welcome(access: Access | None, place: Place) -> str:
    if access is None:
        return (
            f"dashboard on {place.address}, OPEN: anybody and any program on this machine can"
            " read and change it (Ctrl-C ends it)"
        )
    if people(access):
        return f"dashboard on {place.address}, people log in by name (Ctrl-C ends it)"
    return (
        f"dashboard on {link(access, place)}\n"
        "this link lets one browser in, once, within 15 minutes (Ctrl-C ends the dashboard)"
    )
