"""Requests of a dashboard's callbacks, made from its own map so that none is forgotten."""

import json
from typing import Any

from dash import Dash

__all__ = ["body_of"]


def body_of(app: Dash, output: str, values: dict[str, Any] | None = None) -> dict[str, Any]:
    """Give a well-formed request of one callback.

    `values` are what the inputs and states carry, by property (`n_clicks`) or by id and
    property (`record.data`); None where nothing is given. Wildcards get one component each.
    """
    given = values or {}
    declared = app.callback_map[output]

    def one(name: str, prop: str) -> dict[str, Any]:
        whole: Any = name
        if name.startswith("{"):
            whole = {
                key: given.get(f"{key}.name", "x") if isinstance(wanted, list) else wanted
                for key, wanted in json.loads(name).items()
            }
        plain = name if isinstance(whole, str) else next(iter(whole))
        value = whole if prop == "id" else given.get(f"{plain}.{prop}", given.get(prop))
        return {"id": whole, "property": prop, "value": value}

    def filled(parts: list[dict[str, str]]) -> list[Any]:
        return [
            [one(part["id"], part["property"])]
            if '["ALL"]' in part["id"]
            else one(part["id"], part["property"])
            for part in parts
        ]

    outputs = [
        {"id": part["id"], "property": part["property"]} if isinstance(part, dict) else part
        for part in filled([_split(part) for part in _parts(output)])
    ]
    inputs = filled(declared["inputs"])
    first = inputs[0][0] if inputs and isinstance(inputs[0], list) else inputs[0]
    name = first["id"]
    key = name if isinstance(name, str) else json.dumps(name, separators=(",", ":"))
    return {
        "output": output,
        "outputs": outputs if output.startswith("..") else outputs[0],
        "inputs": inputs,
        "state": filled(declared["state"]),
        "changedPropIds": [f"{key}.{first['property']}"],
    }


def _parts(output: str) -> list[str]:
    return output.strip(".").split("...") if output.startswith("..") else [output]


def _split(part: str) -> dict[str, str]:
    name, _, prop = part.rpartition(".")
    return {"id": name, "property": prop}
