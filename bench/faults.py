"""Kill -9 of each part of the service at random moments while 500 checks run: none may be lost, none doubled.

Run from the checkout: python -m bench.faults [checks] [kills] [parts…]. The parts are worker, child, redis, web and
postgres. A kill comes at a random moment after the service got on with its checks again since the last one: what is
killed while it is still starting has nothing to lose. It ends with an error when a check did not end in exactly one
report. Bounded: each part takes at most 40 minutes, and all traffic is on loopback.
"""

from __future__ import annotations

import os
import random
import signal
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from contextlib import suppress
from functools import partial
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "tests"))

from lintsvc_worker.zygote import CHILD_NAME
from parts.service_parts import box_stl
from service.postgres import Postgres
from service.running import Running, processes_of
from sqlalchemy import func, select
from sqlalchemy.exc import SQLAlchemyError

from lintsvc.store.database import Database
from lintsvc.store.tables import artefacts, check_files, checks

SETTINGS = {
    "LINTSVC_LEASE_SECONDS": "4",
    "LINTSVC_RESEND_SECONDS": "1",
    "LINTSVC_REQUESTS_A_MINUTE": "0",
    "LINTSVC_QUOTA_WAITING": "100000",
    # Both warm processes run.
    "LINTSVC_LATER_SECONDS": "3",
    # Kills come faster here than any file could be blamed for.
    "LINTSVC_DEATHS": "1000",
}
LONGEST_SECONDS = 2400.0
#: A service that does not get on for so long is struck all the same.
PATIENCE_SECONDS = 60.0
PARTS = ("worker", "child", "redis", "web", "postgres")


class Trial:
    """One service under fire."""

    def __init__(self, part: str, folder: Path) -> None:
        self.part = part
        self.server = Postgres() if part == "postgres" else None
        self.settings = dict(SETTINGS)
        if self.server is not None:
            self.settings["LINTSVC_DATABASE_URL"] = self.server.url
            self.url = self.server.url.replace("postgresql://", "postgresql+psycopg://")
        else:
            self.url = f"sqlite:///{folder / 'state' / 'records.sqlite3'}"
        self.state = folder / "state"
        self.running = Running(self.state, self.settings).start()
        self.running.wait_ready()
        self.port = self.running.port
        self.lock = threading.Lock()
        self.records = Database(self.url)
        #: And how many of them while a check was being made.
        self.kills = self.at_work = 0

    def processes(self, word: bytes) -> list[int]:
        """Process ids of this service with a word in their command line."""
        found = []
        for pid in processes_of(self.state):
            try:
                if word in Path(f"/proc/{pid}/cmdline").read_bytes():
                    found.append(pid)
            except OSError:
                continue
        return found

    def victims(self) -> list[int]:
        """Who is to die, now."""
        zygotes = self.processes(b"lintsvc_worker.zygote")
        if self.part == "worker":
            return [x for x in self.processes(b"lintsvc_worker") if x not in zygotes]
        if self.part == "child":
            found: list[int] = []
            for pid in zygotes:
                # The children themselves look the same but for their name.
                with suppress(OSError):
                    if Path(f"/proc/{pid}/comm").read_text().strip() == CHILD_NAME:
                        found.append(pid)
            return found
        try:
            return [int((self.state / "redis" / "redis.pid").read_text())]
        except (OSError, ValueError):
            return []

    def counted(self, *states: str) -> int:
        """How many checks are in these states; -1 while the records cannot be reached."""
        query = select(func.count()).select_from(checks).where(checks.c.state.in_(states))
        try:
            with self.records.reading() as connection:
                return int(connection.execute(query).scalar_one())
        except SQLAlchemyError:
            return -1

    def strike(self) -> None:
        """Kill it once. Each process killed counts."""
        before, working = self.kills, self.counted("running") > 0
        self._kill()
        self.at_work += working * (self.kills - before)

    def _kill(self) -> None:
        if self.part == "web":
            with self.lock:
                self.running.kill()
                while processes_of(self.state):
                    time.sleep(0.05)
                self.running = Running(self.state, self.settings).start(self.port)
            self.kills += 1
        elif self.server is not None:
            self.server.kill()
            time.sleep(0.2)
            self.server.start()
            self.kills += 1
        else:
            # A child is there for some hundredths of a second in a tenth.
            ends = time.monotonic() + 1.0
            while not (found := self.victims()) and time.monotonic() < ends:
                time.sleep(0.002)
            for pid in found:
                try:
                    os.kill(pid, signal.SIGKILL)
                    self.kills += 1
                except ProcessLookupError:
                    continue

    def send(self, number: int) -> str | None:
        """Send a part; return its check's id when it was accepted."""
        try:
            answer = self.running.send([(f"{number}.stl", box_stl(20 + 0.01 * number, 20, 20))], wait=0)
        except OSError:
            return None
        return str(answer.json["id"]) if answer.status == 202 else None

    def close(self) -> None:
        """Stop everything."""
        self.records.dispose()
        self.running.stop()
        if self.server is not None:
            self.server.stop()


def until(condition: Callable[[], bool], seconds: float, look_seconds: float = 0.5) -> bool:
    """Wait for it; False when the time is over."""
    ends = time.monotonic() + seconds
    while time.monotonic() < ends:
        if condition():
            return True
        time.sleep(look_seconds)
    return False


def _moved(shot: Trial, before: int, finished: threading.Event) -> bool:
    return finished.is_set() or shot.counted("done") > before


def trial(part: str, count: int, kills: int) -> bool:
    """Run one part's trial; print and return whether every accepted upload has exactly one report."""
    dice = random.Random(part)
    with tempfile.TemporaryDirectory() as name:
        shot = Trial(part, Path(name))
        accepted: list[str] = []
        refused = 0
        finished = threading.Event()

        def killer() -> None:
            while shot.kills < kills and not finished.is_set():
                before = shot.counted("done")
                until(partial(_moved, shot, before, finished), PATIENCE_SECONDS, 0.02)
                finished.wait(dice.uniform(0.0, 0.4))
                shot.strike()

        thread = threading.Thread(target=killer)
        thread.start()
        started = time.monotonic()
        number = 0
        while len(accepted) < count and time.monotonic() - started < LONGEST_SECONDS / 2:
            # The kills are spread over the whole run: nobody sends far ahead of them.
            if thread.is_alive() and len(accepted) / count > (shot.kills + 1) / kills:
                time.sleep(0.02)
                continue
            check = shot.send(number)
            number += 1
            if check is None:
                refused += 1
                time.sleep(0.1)
            else:
                accepted.append(check)
        until(lambda: not thread.is_alive(), LONGEST_SECONDS / 4)
        finished.set()
        thread.join()
        until(lambda: shot.counted("queued", "running") == 0, LONGEST_SECONDS / 4)
        with shot.records.reading() as connection:
            by_state = select(checks.c.state, func.count()).where(checks.c.id.in_(accepted)).group_by(checks.c.state)
            states = {row[0]: row[1] for row in connection.execute(by_state)}
            results = connection.execute(
                select(func.count()).select_from(check_files).where(check_files.c.result.is_not(None))
            ).scalar_one()
            reports = connection.execute(
                select(func.count()).select_from(artefacts).where(artefacts.c.name == "report.json")
            ).scalar_one()
            stored = connection.execute(select(func.count()).select_from(checks)).scalar_one()
        shot.close()
        # An upload whose answer was cut off may stand in the records too: it was accepted, its sender does not know.
        well = states == {"done": len(accepted)} and results == reports == stored
        print(
            f"{part}: {shot.kills} kills, {shot.at_work} of them while a check was being made; "
            f"{len(accepted)} accepted, {refused} refused or cut off, {states}, "
            f"{reports} reports for {stored} stored checks, {time.monotonic() - started:.0f} s: "
            f"{'none lost, none doubled' if well else 'WRONG'}",
            flush=True,
        )
        return well


def main(count: int = 500, kills: int = 50, *parts: str) -> int:
    """Run the trials one after another; return the exit status."""
    outcomes = [trial(part, count, kills) for part in parts or PARTS]
    return 0 if all(outcomes) else 1


if __name__ == "__main__":
    numbers = [int(x) for x in sys.argv[1:3]]
    sys.exit(main(*numbers, *sys.argv[3:]))
