"""What a check costs the records with 10 and with 100,000 earlier ones: accept, find by content, claim, list, purge.

Run from the checkout: python -m bench.records [stored] [postgres]. No worker runs; the earlier checks have results
of the usual size. Prints the median of each step in milliseconds, with few and with many stored.
"""

from __future__ import annotations

import json
import os
import statistics
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "tests"))

from service.postgres import Postgres
from sqlalchemy import insert, text

from lintsvc.store import checks, claims, keeping
from lintsvc.store.accept import NewCheck, Quota, create_check
from lintsvc.store.blobs import FolderBlobs
from lintsvc.store.checks import FileOf
from lintsvc.store.claims import Artefact, FileResult, Terms
from lintsvc.store.database import Database
from lintsvc.store.tables import artefacts, blobs, check_files, results, usage
from lintsvc.store.tables import checks as checks_table

QUOTA = Quota(1 << 50, 1_000_000)
REPEATS, OWNERS = 60, 20
#: The size of a small report, packed.
REPORT = os.urandom(3000)


def sha(number: int) -> str:
    """A hash unlike all others."""
    return f"{number:064x}"


def seed(db: Database, count: int) -> None:
    """Put so many finished checks of many owners into the records, with results."""
    now = time.time()
    summary = json.dumps({"error": 0, "warning": 1, "note": 0, "unreadable": 0, "not_checked": 0})
    lot = 5_000
    for start in range(0, count, lot):
        numbers = range(start, min(start + lot, count))
        with db.writing() as connection:
            connection.execute(insert(blobs), [{"sha256": sha(n), "bytes": 684} for n in numbers])
            connection.execute(insert(results), [{"key": sha(n), "created": now, "summary": summary} for n in numbers])
            connection.execute(
                insert(artefacts),
                [{"place": f"result/{sha(n)}", "name": "report.json", "blob": "", "data": REPORT, "bytes": 9000,
                  "created": now} for n in numbers],
            )  # fmt: skip
            connection.execute(
                insert(checks_table),
                [{"id": f"old-{n}", "owner": f"o{n % OWNERS}", "state": "done", "created": now - n, "choices": "{}",
                  "files": 1, "bytes": 684, "lane": 0, "turn": float(n), "summary": summary} for n in numbers],
            )  # fmt: skip
            connection.execute(
                insert(check_files),
                [{"check_id": f"old-{n}", "number": 0, "name": "a.stl", "sha256": sha(n), "bytes": 684, "key": sha(n),
                  "result": sha(n)} for n in numbers],
            )  # fmt: skip
    with db.writing() as connection:
        connection.execute(insert(usage), [{"owner": f"o{x}", "bytes": 684 * count} for x in range(OWNERS)])
    if not db.lite:
        # As the server does by itself a minute after so many rows.
        with db.engine.begin() as connection:
            connection.execute(text("analyze"))


def measure(db: Database, store: FolderBlobs) -> dict[str, float]:
    """Median milliseconds of each step."""
    taken: dict[str, list[float]] = {}

    def timed(step: str, do: Callable[[], Any]) -> Any:
        started = time.perf_counter()
        answer = do()
        taken.setdefault(step, []).append(1000 * (time.perf_counter() - started))
        return answer

    terms = Terms(60.0, 2)
    for number in range(10**9, 10**9 + REPEATS):
        new = NewCheck("o1", {}, [FileOf(0, "b.stl", sha(number), 684, sha(number))])
        timed("accept", lambda new=new: create_check(db, new, QUOTA))
        claim = timed("claim", lambda: claims.claim_next(db, lease_seconds=60.0, deaths=2))
        assert claim is not None  # just made
        result = FileResult(0, sha(number), {"error": 0}, [Artefact("report.json", "", 9000, REPORT)])
        timed("finish", lambda claim=claim, result=result: claims.finish(db, claim, last=result, then_claim=terms))
        again = timed("find by content", lambda new=new: create_check(db, new, QUOTA))[0]
        assert again.state == "done"
        timed("look", lambda again=again: checks.read_check(db, again.id))
        page, following = timed("list", lambda: checks.list_checks(db, "o1", 20))
        assert len(page) == min(20, len(page))
        if following is not None:
            timed("list the next page", lambda following=following: checks.list_checks(db, "o1", 20, following))
        timed("call out", lambda: claims.to_call_out(db, lease_seconds=60.0, resend_seconds=10.0))
        for one in (claim.check.id, again.id):
            timed("purge", lambda one=one: keeping.purge(db, store, checks.delete_checks(db, [one])))
    return {step: statistics.median(x) for step, x in taken.items()}


@contextmanager
def records(kind: str, folder: Path) -> Iterator[Database]:
    """Empty records of a kind."""
    server = Postgres() if kind == "postgres" else None
    url = f"sqlite:///{folder / 'records.sqlite3'}" if server is None else server.url
    db = Database(url.replace("postgresql://", "postgresql+psycopg://"))
    db.migrate()
    try:
        yield db
    finally:
        db.dispose()
        if server is not None:
            server.stop()


def main(stored: int = 100_000, *kinds: str) -> int:
    """Measure and print; the exit status is 1 where a step's cost grew to more than twice."""
    grew = []
    for kind in kinds or ("sqlite", "postgres"):
        with tempfile.TemporaryDirectory() as name, records(kind, Path(name)) as db:
            store = FolderBlobs(Path(name) / "blobs")
            seed(db, 10)
            measure(db, store)  # warm
            few = measure(db, store)
        with tempfile.TemporaryDirectory() as name, records(kind, Path(name)) as db:
            store = FolderBlobs(Path(name) / "blobs")
            seed(db, stored)
            measure(db, store)
            many = measure(db, store)
        print(f"{kind}: median ms with 10 and with {stored} stored checks")
        for step, value in many.items():
            before = few.get(step)
            print(f"  {step:<20} {'' if before is None else f'{before:7.2f}'} {value:7.2f}")
            if before is not None and value > 2 * before:
                grew.append(f"{kind}: {step}")
    print(f"grew to more than twice: {', '.join(grew) or 'nothing'}")
    return 1 if grew else 0


if __name__ == "__main__":
    sys.exit(main(*(int(x) for x in sys.argv[1:2]), *sys.argv[2:]))
