"""The client for asyncio: `Client` again, to be awaited. A test holds the two alike."""

from __future__ import annotations

import asyncio
import time
from collections.abc import AsyncIterator, Mapping, Sequence
from contextlib import ExitStack
from types import TracebackType
from typing import Any, TypeVar

import httpx

from lintsvc.client import calls, order_calls, transport
from lintsvc.client.answers import Away, Check, Event, Order, Share, refusal
from lintsvc.client.calls import Call, Sent
from lintsvc.model.choices import Choices
from lintsvc.model.report import Report

Answer = TypeVar("Answer")


class AsyncClient:
    """Speaks with one service. Every method raises Refused, Away, and OSError for a file that cannot be read.

    `address`: where the service is, such as `https://lint.example`. `token`: needed where the service needs one.
    May be used by several tasks at once.
    """

    def __init__(self, address: str, token: str = "", *, options: Mapping[str, Any] | None = None) -> None:
        self._http = httpx.AsyncClient(**transport.settings(address, token), **(options or {}))

    async def __aenter__(self) -> AsyncClient:
        return self

    async def __aexit__(
        self, kind: type[BaseException] | None, error: BaseException | None, at: TracebackType | None
    ) -> None:
        await self.close()

    async def close(self) -> None:
        """Close all connections."""
        await self._http.aclose()

    async def do(self, call: Call[Answer]) -> Answer:
        """Make a call of `lintsvc.client.calls`; while the service says "later", wait and make it again."""
        ends = time.monotonic() + transport.PATIENCE_SECONDS
        while True:
            got = await self._sent(call)
            later = got.later_seconds(again=call.again)
            if later is None:
                return call.read(got.body)
            if time.monotonic() + later > ends:
                raise got.refused()
            await asyncio.sleep(later)

    async def _sent(self, call: Call[Any]) -> transport.Got:
        with ExitStack() as stack:
            files = call.opened(stack)
            try:
                answer = await self._http.request(
                    call.method,
                    call.path,
                    data=dict(call.form) or None,
                    files=files or None,
                    content=call.content,
                    params=dict(call.query) or None,
                    headers=dict(call.headers),
                )
            except httpx.HTTPError as error:
                raise Away(f"{self._http.base_url} cannot be reached: {error or type(error).__name__}") from None
        return transport.Got(
            answer.status_code,
            answer.headers.get("content-type", ""),
            answer.headers.get("retry-after", ""),
            answer.content,
        )

    async def check(
        self,
        files: Sequence[Sent],
        choices: Choices | Mapping[str, str] | None = None,
        *,
        known: Sequence[tuple[str, str]] = (),
        changes: Mapping[str, Any] | None = None,
        wait: bool = True,
        key: str = "",
        **words: str,
    ) -> Check:
        """Check files and return the check, ended unless `wait` is False.

        `choices`, or `words`: what the command's options say, `material="pa12"`. `known`: (name, sha256) of
        files that the service has already, see `known_files`. `changes`: of limits, levels and what was measured, as
        `lintsvc.rulebook.adjust.changes_to_dict` writes them. `key`: the same again gives the same check.
        """
        seconds = calls.LONGEST_WAIT_SECONDS if wait else 0.0
        said = choices if choices is not None else words
        check = await self.do(calls.send(files, said, known=known, changes=changes, wait=seconds, key=key))
        return await self.wait(check) if wait else check

    async def wait(self, check: Check) -> Check:
        """Wait until a check has ended, however long that takes, and return it with its report."""
        while not check.ended:
            check = await self.do(calls.show(check.id, calls.LONGEST_WAIT_SECONDS))
        return check

    async def show(self, check_id: str) -> Check:
        """Look at a check."""
        return await self.do(calls.show(check_id))

    async def checks(self) -> AsyncIterator[Check]:
        """Yield all checks, newest first, without their reports."""
        after = ""
        while True:
            found, after = await self.do(calls.listed(100, after))
            for check in found:
                yield check
            if not after:
                return

    async def cancel(self, check_id: str) -> Check:
        """Stop a check that waits or runs."""
        return await self.do(calls.cancel(check_id))

    async def remove(self, check_id: str) -> None:
        """Delete a check with all that is kept for it."""
        await self.do(calls.remove(check_id))

    async def events(self, check_id: str, after: str = "") -> AsyncIterator[Event]:
        """Yield what happens to a check, from its start or after the event with the id `after`, to its end."""
        headers = {"Last-Event-ID": after} if after else {}
        try:
            async with self._http.stream("GET", calls.events_path(check_id), headers=headers) as answer:
                if answer.status_code >= 300:
                    await answer.aread()
                    media = answer.headers.get("content-type", "")
                    raise refusal(answer.status_code, media, answer.content)
                reader = transport.EventReader()
                async for line in answer.aiter_lines():
                    if (event := reader.line(line)) is not None:
                        yield event
        except httpx.HTTPError as error:
            raise Away(f"the stream of events broke off: {error or type(error).__name__}") from None

    async def known_files(self, sha256: Sequence[str]) -> frozenset[str]:
        """Return which of these files the service has from earlier checks."""
        return await self.do(calls.known_files(sha256))

    async def report(self, check_id: str) -> Report:
        """Return the report of a check that is done."""
        return await self.do(calls.report(check_id))

    async def made(self, check_id: str, name: str, file: int = 0) -> bytes:
        """Return what is made from a check, by name: report.sarif, report.pdf, highlights.glb, highlights.svg …"""
        return await self.do(calls.made(check_id, name, file))

    async def of_file(self, check_id: str, name: str, file: int = 0) -> bytes:
        """Return what belongs to one file of a check, by name: picture.svg, geometry, findings …"""
        return await self.do(calls.of_file(check_id, name, file))

    async def set_aside(self, check_id: str, file: int, fingerprint: str, reason: str) -> str:
        """Set a finding of a file aside, for this and later checks; return what reports then say of it."""
        return await self.do(calls.set_aside(check_id, file, fingerprint, reason))

    async def take_back(self, check_id: str, file: int, fingerprint: str) -> None:
        """Let a finding count again."""
        await self.do(calls.take_back(check_id, file, fingerprint))

    async def processes(self) -> list[Mapping[str, Any]]:
        """Return the processes that parts are checked for."""
        return await self.do(calls.processes())

    async def materials(self) -> list[Mapping[str, Any]]:
        """Return the handbook's materials."""
        return await self.do(calls.materials())

    async def rules(self) -> Mapping[str, Any]:
        """Return version, packs and rules, as the workers have them loaded."""
        return await self.do(calls.rules())

    async def make_share(self, check_id: str, days: int | None = None) -> Share:
        """Make a link that lets whoever has it look at a check."""
        return await self.do(calls.make_share(check_id, days))

    async def shares(self, check_id: str) -> list[Share]:
        """Return the links to a check, without their secrets."""
        return await self.do(calls.shares(check_id))

    async def revoke_share(self, check_id: str, share_id: str) -> None:
        """Revoke a link."""
        await self.do(calls.revoke_share(check_id, share_id))

    async def send_order(self, files: Sequence[Sent], known: Sequence[tuple[str, str]] = ()) -> Order:
        """Send an order.toml with the files of its parts. `known`: (name, sha256) of files that the service has."""
        return await self.do(order_calls.send_order(files, known))

    async def orders(self) -> list[Order]:
        """Return the orders of the one who asks, newest first."""
        return await self.do(order_calls.orders())

    async def show_order(self, order_id: str) -> Order:
        """Look at an order."""
        return await self.do(order_calls.show_order(order_id))

    async def remove_order(self, order_id: str) -> None:
        """Delete an order with all that was made of it."""
        await self.do(order_calls.remove_order(order_id))

    async def made_of_order(self, order_id: str, name: str) -> bytes:
        """Return what is made of an order: order.json, packet.zip, inspection.pdf, results.csv."""
        return await self.do(order_calls.made_of_order(order_id, name))

    async def outline(
        self, order_id: str, part: str, paper: str = "A4", offset: str = "", template: bool = False
    ) -> bytes:
        """Return a part's outline as PDF at 1:1; with `template` the middles of holes are marked."""
        return await self.do(order_calls.outline(order_id, part, paper, offset, template))

    async def arrive(self, order_id: str, results: bytes) -> str:
        """Send a filled-in results.csv; return the id to ask for its judgement with."""
        return await self.do(order_calls.arrive(order_id, results))

    async def arrival(self, order_id: str, arrival_id: str) -> Mapping[str, Any]:
        """Return what became of the pieces, and the shop.toml with what was learnt."""
        return await self.do(order_calls.arrival(order_id, arrival_id))
