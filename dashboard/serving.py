"""Serve the dashboard, and refuse to where it would stand open."""

from collections.abc import Iterable

import waitress
from dash import Dash

from analytics.errors import InputError
from dashboard.access.people import Access, people
from dashboard.access.place import LOOPBACK
from dashboard.gate import LOCAL_HOSTS

__all__ = ["THREADS", "check_start", "serve"]

THREADS = 8
"""Requests answered at once; more only take turns in one interpreter."""


def check_start(
    host: str,
    *,
    access: Access | None,
    hosts: Iterable[str],
    insecure: bool = False,
    open_here: bool = False,
) -> None:
    """Refuse a start that would let anybody in.

    On this machine alone (a loopback address) a session is enough, and an open
    dashboard must be asked for. Elsewhere there must be people who log in, TLS in
    front, and a name under which the dashboard is asked for. Session secrets are
    random and kept hashed, so no signing key is needed.

    Raises
    ------
    InputError
        With what is missing and what would mend it.
    """
    if not host.strip():
        raise InputError("host must be named; 127.0.0.1 serves this machine alone")
    if host in LOOPBACK:
        if access is None and not open_here:
            raise InputError(
                f"serving on {host} without sessions needs --open: every program of this machine"
                " could then read and write here"
            )
        return
    if open_here:
        raise InputError(
            f"an open dashboard needs 127.0.0.1, got {host}: leave --open out and add people"
        )
    if access is None or people(access) == 0:
        raise InputError(
            f"serving on {host} needs people who log in: `discward people add LOGS NAME` first,"
            " or serve on 127.0.0.1 and forward the port over a secure shell"
        )
    if not access.secure and not insecure:
        raise InputError(
            f"serving on {host} needs TLS in front, for passwords travel: put a TLS proxy before"
            " it and say --behind-tls, or state that it may be --insecure"
        )
    names = set(hosts) - set(LOCAL_HOSTS)
    if not names or not all(_is_name(name) for name in names):
        raise InputError(
            f"serving on {host} needs --asked-by with the name it is asked for by, such as"
            " discs.plant.example, without scheme, port or wildcard"
        )


def _is_name(name: str) -> bool:
    return bool(name) and all(sign.isalnum() or sign in ".-" for sign in name)


def serve(
    app: Dash,
    host: str = "127.0.0.1",
    port: int = 8050,
    *,
    insecure: bool = False,
    open_here: bool = False,
) -> None:
    """Serve the dashboard until it is stopped.

    Parameters
    ----------
    app : Dash
        As `build_app` gives it; its access and hosts decide where it may be served.
    host, port : str, int
        Where to listen.
    insecure : bool
        Serve beyond this machine without TLS, knowingly.
    open_here : bool
        Serve this machine without sessions, knowingly.

    Raises
    ------
    InputError
        If the start would let anybody in, or the port cannot be had.
    """
    config = app.server.config
    check_start(
        host,
        access=config["ACCESS"],
        hosts=config["HOSTS"],
        insecure=insecure,
        open_here=open_here,
    )
    try:
        waitress.serve(
            app.server,
            host=host,
            port=port,
            threads=THREADS,
            connection_limit=1000,
            ident=None,
            clear_untrusted_proxy_headers=True,
            _quiet=True,
        )
    except OSError as error:
        raise InputError(
            f"port {port} on {host} cannot be had: {error.strerror}; give another --port"
        ) from None
