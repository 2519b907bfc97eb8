"""Serve the dashboard, and refuse to where it would stand open."""

from collections.abc import Iterable

import waitress
from dash import Dash

from analytics.errors import InputError
from dashboard.access.people import Access, people
from dashboard.gate import LOCAL_HOSTS

__all__ = ["check_start", "serve"]

LOOPBACK = frozenset({"127.0.0.1", "localhost", "::1"})


def check_start(
    host: str, *, access: Access | None, hosts: Iterable[str], insecure: bool = False
) -> None:
    """Refuse a start that would let anybody in.

    On this machine alone (a loopback address) anything goes. Elsewhere there must be
    people who log in, TLS in front, and a name under which the dashboard is asked for.
    Session secrets are random and kept hashed, so no signing key is needed.

    Raises
    ------
    InputError
        With what is missing and what would mend it.
    """
    if host in LOOPBACK:
        return
    if not host:
        raise InputError("host must be named; 127.0.0.1 serves this machine alone")
    if access is None or people(access) == 0:
        raise InputError(
            f"serving on {host} needs people who log in: add one with a password first,"
            " or serve on 127.0.0.1 and forward the port over a secure shell"
        )
    if not access.secure and not insecure:
        raise InputError(
            f"serving on {host} needs TLS in front, for passwords travel: put a TLS proxy before"
            " it and say so, or state that it may be insecure"
        )
    if set(hosts) <= set(LOCAL_HOSTS):
        raise InputError(f"serving on {host} needs the name it is asked for by, beside {host}")


def serve(app: Dash, host: str = "127.0.0.1", port: int = 8050, *, insecure: bool = False) -> None:
    """Serve the dashboard until it is stopped.

    Parameters
    ----------
    app : Dash
        As `build_app` gives it; its access and hosts decide where it may be served.
    host, port : str, int
        Where to listen.
    insecure : bool
        Serve beyond this machine without TLS, knowingly.

    Raises
    ------
    InputError
        If the start would let anybody in.
    """
    config = app.server.config
    check_start(host, access=config["ACCESS"], hosts=config["HOSTS"], insecure=insecure)
    waitress.serve(
        app.server, host=host, port=port, threads=8, connection_limit=1000, ident=None, _quiet=True
    )
