"""Reads files in a child process that may not write, connect, run long or grow large, and reports what happened.

Run as a script it is the child: paths as JSON on standard input, outcomes as JSON on standard output.
"""

from __future__ import annotations

import json
import os
import resource
import subprocess
import sys
import time
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path

SECONDS = 10
MEMORY_BYTES = 2**30


@dataclass(frozen=True)
class Outcome:
    """`end`: part, unreadable, killed or broken. `text`: the error, or the notes."""

    path: str
    end: str
    text: str = ""
    kind: str = ""
    size_mm: tuple[float, ...] = ()
    triangles: int = 0
    seconds: float = 0.0
    memory_bytes: int = 0
    #: Files opened beside the part itself, and attempts to connect or to start a program.
    asides: tuple[str, ...] = ()


def read_all(paths: Sequence[Path], warm: str = "") -> list[Outcome]:
    """Read every file, each in a process of its own. `warm`: a module to import once, before the first."""
    root = Path(__file__).resolve().parents[2]
    child = subprocess.run(
        [sys.executable, __file__, warm],
        input=json.dumps([str(p) for p in paths]),
        capture_output=True,
        text=True,
        cwd=root,
        env={**os.environ, "PYTHONPATH": str(root)},
        timeout=SECONDS * len(paths) + 60,
        check=False,
    )
    assert child.returncode == 0, child.stderr[-2000:]
    return [
        Outcome(**{**x, "size_mm": tuple(x["size_mm"]), "asides": tuple(x["asides"])}) for x in json.loads(child.stdout)
    ]


def over_limits(outcomes: Mapping[str, Outcome]) -> dict[str, tuple[float, int]]:
    """Seconds and memory of readings that took more of either than they may."""
    return {
        name: (x.seconds, x.memory_bytes)
        for name, x in outcomes.items()
        if x.seconds > SECONDS or x.memory_bytes > MEMORY_BYTES
    }


def _one(path: Path) -> Outcome:
    from lintsvc.model.part import Unreadable
    from lintsvc.readers import read_part
    from lintsvc.readers.content import sha256_of
    from lintsvc.readers.format import ReadOptions

    asides: list[str] = []

    def hook(event: str, args: tuple[object, ...]) -> None:
        if event in ("socket.connect", "socket.getaddrinfo", "os.system", "subprocess.Popen", "os.remove", "os.mkdir"):
            asides.append(f"{event} {args!r}"[:200])
        elif event == "open" and isinstance(args[0], str) and args[0] != str(path):
            inside = args[0].startswith((sys.prefix, sys.base_prefix, str(Path(__file__).resolve().parents[2])))
            writes = isinstance(args[1], str) and args[1].strip("rbtU") != ""
            if writes or not inside:
                asides.append(f"{event} {args!r}"[:200])

    sys.addaudithook(hook)
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    # The processor's time: other work on the machine must not count.
    started = time.process_time()
    try:
        part = read_part(path, ReadOptions(path.name, sha256_of(path)))
        body = part.body
        end, text, kind, size = "part", " | ".join(n.text for n in part.notes), part.format, part.size_mm
        triangles = 0 if body is None else len(body.faces)
    except Unreadable as error:
        end, text, kind, size, triangles = "unreadable", str(error), "", (), 0
    except BaseException as error:  # noqa: BLE001  the child reports whatever came out
        end, text, kind, size, triangles = "broken", f"{type(error).__name__}: {error}"[:300], "", (), 0
    seconds = time.process_time() - started
    grown = (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) * 1024
    return Outcome(str(path), end, text, kind, size, triangles, seconds, grown, tuple(asides))


def _forked(path: Path) -> Outcome:
    """Read in a forked child: no file may grow, the processor's time is bounded, a crash stays there."""
    reader, writer = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(reader)
        resource.setrlimit(resource.RLIMIT_FSIZE, (0, 0))
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
        resource.setrlimit(resource.RLIMIT_CPU, (SECONDS, SECONDS))
        resource.setrlimit(resource.RLIMIT_DATA, (3 * MEMORY_BYTES, 3 * MEMORY_BYTES))
        with os.fdopen(writer, "w") as pipe:
            json.dump(asdict(_one(path)), pipe)
        os._exit(0)
    os.close(writer)
    with os.fdopen(reader) as pipe:
        text = pipe.read()
    _, status = os.waitpid(child, 0)
    if status != 0 or not text:
        return Outcome(str(path), "killed", f"status {status}")
    return Outcome(**json.loads(text))


if __name__ == "__main__":
    import numpy  # noqa: F401

    import lintsvc.readers.threemf  # noqa: F401

    if sys.argv[1]:
        __import__(sys.argv[1])
    json.dump([asdict(_forked(Path(p))) for p in json.load(sys.stdin)], sys.stdout)
