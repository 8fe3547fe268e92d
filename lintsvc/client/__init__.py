"""A client of the service: `Client`, and `AsyncClient` for asyncio. Both are thin over the OpenAPI document.

    with Client("http://127.0.0.1:8000", token=...) as client:
        check = client.check([Path("bracket.dxf")], material="aluminium-5052-h32", thickness="2.5mm")
        for part in check.report.parts:
            ...

The report is the one of `lintsvc.model.report`, as the command has it. What the service refuses is a `Refused`
with the service's own words; a service that cannot be reached is an `Away`.
"""

from lintsvc.client.answers import Away, Check, CheckFile, Event, Order, Refused, Share
from lintsvc.client.asynchronous import AsyncClient
from lintsvc.client.synchronous import Client

__all__ = ["AsyncClient", "Away", "Check", "CheckFile", "Client", "Event", "Order", "Refused", "Share"]
