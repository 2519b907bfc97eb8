"""A whole table as one component, drawn by `assets/plain_table.js`.

Dash keeps an account of every component on a page. A page's tables have thousands of
cells, and one component each made a change of filter slower than a reader waits.
"""

from typing import Any

from dash.development.base_component import Component

__all__ = ["PlainTable"]


class PlainTable(Component):
    """A table of texts, some of which open pages of the dashboard.

    Parameters
    ----------
    caption : str
        What the rows are.
    head : list of dict
        Per column `name` and `side`, the class of its cells.
    body : list of list
        Per row its cells: a text, or a text and the address that it opens.
    """

    _children_props: list[str] = []
    _base_nodes = ["children"]
    _namespace = "discward"
    _type = "PlainTable"

    def __init__(
        self, *, caption: str, head: list[dict[str, str]], body: list[list[Any]], **more: Any
    ) -> None:
        self._prop_names = ["body", "caption", "head", "id"]
        self._valid_wildcard_attributes: list[str] = []
        self.available_properties = self._prop_names
        self.available_wildcard_properties: list[str] = []
        super().__init__(caption=caption, head=head, body=body, **more)
