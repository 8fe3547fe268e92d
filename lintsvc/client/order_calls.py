"""The operations on orders as values, like those of `lintsvc.client.calls`."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from typing import Any
from urllib.parse import quote

from lintsvc.client.answers import Order, order_of
from lintsvc.client.calls import API, Call, Sent, as_bytes, nothing


def send_order(files: Sequence[Sent], known: Sequence[tuple[str, str]] = ()) -> Call[Order]:
    """Send an order.toml with the files of its parts. `known`: (name, sha256) of files that the service has."""
    form = {"file_name": [x for x, _ in known], "file_sha256": [x for _, x in known]} if known else {}
    return Call("POST", f"{API}/orders", _order, form=form, files=files)


def orders() -> Call[list[Order]]:
    """The orders of the one who asks, newest first."""
    return Call("GET", f"{API}/orders", lambda x: [order_of(y) for y in json.loads(x)["orders"]])


def show_order(order_id: str) -> Call[Order]:
    """An order's files, and where to find what is made of it."""
    return Call("GET", _of(order_id), _order)


def remove_order(order_id: str) -> Call[None]:
    """Delete an order with all that was made of it."""
    return Call("DELETE", _of(order_id), nothing)


def made_of_order(order_id: str, name: str) -> Call[bytes]:
    """What is made of an order, by its name in the document: order.json, packet.zip, inspection.pdf, results.csv."""
    return Call("GET", _of(order_id, f"/{quote(name, safe='')}"), as_bytes, again=True)


def outline(order_id: str, part: str, paper: str = "A4", offset: str = "", template: bool = False) -> Call[bytes]:
    """A part's outline as PDF at 1:1, moved outwards by `offset`; with `template` the middles of holes are marked."""
    query = {"paper": paper} | ({"offset": offset} if offset else {}) | ({"template": "1"} if template else {})
    return Call("GET", _of(order_id, f"/prints/{quote(part, safe='')}"), as_bytes, query=query, again=True)


def arrive(order_id: str, results: bytes) -> Call[str]:
    """Send a filled-in results.csv; answered is the id to ask for its judgement with."""
    headers = {"Content-Type": "text/csv"}
    return Call(
        "POST", _of(order_id, "/arrivals"), lambda x: str(json.loads(x)["id"]), content=results, headers=headers
    )


def arrival(order_id: str, arrival_id: str) -> Call[Mapping[str, Any]]:
    """What became of the pieces, and the shop.toml with what was learnt."""
    path = _of(order_id, f"/arrivals/{quote(arrival_id, safe='')}")
    return Call("GET", path, lambda x: dict(json.loads(x)), again=True)


#: The function for each operation of the OpenAPI document.
OPERATIONS: Mapping[str, Callable[..., Any]] = {
    "orders.send": send_order,
    "orders.listed": orders,
    "orders.show": show_order,
    "orders.remove": remove_order,
    "orders.made": made_of_order,
    "orders.outline": outline,
    "orders.arrive": arrive,
    "orders.arrival": arrival,
}


def _of(order_id: str, more: str = "") -> str:
    return f"{API}/orders/{quote(order_id, safe='')}{more}"


def _order(body: bytes) -> Order:
    return order_of(json.loads(body))
