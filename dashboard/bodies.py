"""Whether a callback's request has the shape the page itself would send."""

import json
from collections.abc import Mapping
from typing import Any

__all__ = ["text_of", "well_formed"]

_WILDCARDS = ("ALL", "MATCH", "ALLSMALLER")


def well_formed(body: Any, declared: Mapping[str, Mapping[str, Any]]) -> bool:
    """Tell whether a body names a declared callback and carries its inputs and states.

    Parameters
    ----------
    body : any
        The request's body, parsed from JSON.
    declared : mapping
        Dash's callback map: output to `inputs` and `state`, each a list of `id`, `property`,
        and `callback`, which those that run in the browser lack: nobody asks the server for them.

    Returns
    -------
    bool
        False for anything the dashboard's own pages would not send; the values
        themselves are left to the callback.
    """
    if not isinstance(body, dict) or not isinstance(body.get("output"), str):
        return False
    callback = declared.get(body["output"])
    changed = body.get("changedPropIds", [])
    if callback is None or "callback" not in callback or not isinstance(changed, list):
        return False
    return (
        all(isinstance(name, str) for name in changed)
        and _are_outputs(body.get("outputs"), body["output"])
        and _are(body.get("inputs"), callback["inputs"])
        and _are(body.get("state", []), callback["state"])
    )


def text_of(value: Any) -> str:
    """Give a value as text that can be written anywhere; blank if it is none.

    Examples
    --------
    >>> text_of("/early"), text_of(None), text_of(["x"]), text_of(chr(0xD800))
    ('/early', '', '', '?')
    """
    return value.encode("utf-8", "replace").decode() if isinstance(value, str) else ""


def _are_outputs(given: Any, output: str) -> bool:
    several = output.startswith("..")
    parts = output.strip(".").split("...") if several else [output]
    shown = given if several else [given]
    return (
        isinstance(shown, list)
        and len(shown) == len(parts)
        and all(_are_output(one, part) for one, part in zip(shown, parts, strict=True))
    )


def _are_output(given: Any, part: str) -> bool:
    name, prop = _split(part)
    if '["ALL"]' not in name:
        return _is(given, name, prop)
    return isinstance(given, list) and all(_is(each, name, prop) for each in given)


def _are(given: Any, declared: list[dict[str, str]]) -> bool:
    if not isinstance(given, list) or len(given) != len(declared):
        return False
    for one, wanted in zip(given, declared, strict=True):
        many = '["ALL"]' in wanted["id"]
        if many and not isinstance(one, list):
            return False
        if not all(
            _is(each, wanted["id"], wanted["property"]) for each in (one if many else [one])
        ):
            return False
    return True


def _split(output: str) -> tuple[str, str]:
    name, _, prop = output.rpartition(".")
    return name, prop


def _is(given: Any, name: str, prop: str) -> bool:
    """Tell whether one `id` and `property` is the declared one, wildcards filled in."""
    if not isinstance(given, dict) or given.get("property") != prop:
        return False
    if not name.startswith("{"):
        return given.get("id") == name
    pattern, found = json.loads(name), given.get("id")
    return (
        isinstance(found, dict)
        and found.keys() == pattern.keys()
        and all(_fills(found[key], pattern[key]) for key in pattern)
    )


def _fills(value: Any, wanted: Any) -> bool:
    wild = isinstance(wanted, list) and wanted[0] in _WILDCARDS
    return isinstance(value, str) if wild else value == wanted
