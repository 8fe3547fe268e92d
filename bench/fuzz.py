"""Every reader against damaged files: a part, or a clear refusal, is all that may come of any of them.

Run from the checkout: python -m bench.fuzz [minutes for each reader, 10] [readers…]. Seeds are made here, the rules'
fixtures and, where it lies beside the checkout, the open corpus. What a reader must not do (raise anything but
Unreadable, crash, take longer than 20 s, or use more than 4 GiB) ends the bench with an error, and the file is kept.
"""

from __future__ import annotations

import resource
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "tests"))

from parts.fuzzing import READERS, Corpus, seeds

from lintsvc.model.part import Unreadable
from lintsvc.readers.format import ReadOptions
from lintsvc.readers.read import read_part

ROOT = Path(__file__).resolve().parent.parent
LONGEST_SECONDS, MOST_BYTES = 20, 4 << 30
#: A reader is given up on after so many failures: more of them teach nothing.
MOST_FAILURES = 10
#: How the words of an outcome begin that is a part.
READ = "read as "


class TooLong(BaseException):
    """Not an Exception: whatever a reader catches, this is not for it."""


def outcome(path: Path) -> str:
    """What reading the file came to, in words. Raises whatever the reader must not."""
    try:
        part = read_part(path, ReadOptions(name=path.name, sha256="0" * 64))
    except Unreadable as error:
        if not error.why:
            raise AssertionError("a refusal without words") from error
        return f"{error.why} {error.where}"
    return f"{READ}{part.format} {part.kind} {sorted({x.kind for x in part.notes})}"


def in_time(path: Path) -> str:
    """The outcome. What takes long is tried once more with much more time: a machine under load is no failure."""
    for seconds in (LONGEST_SECONDS, 6 * LONGEST_SECONDS):
        signal.alarm(seconds)
        try:
            return outcome(path)
        except TooLong:
            continue
        finally:
            signal.alarm(0)
    raise TooLong(f"more than {6 * LONGEST_SECONDS} s")


def work(reader: str, seconds: float, number: int, folder: Path) -> int:
    """Damage and read until the time is over, in this process. Return how many files failed."""
    resource.setrlimit(resource.RLIMIT_AS, (MOST_BYTES, MOST_BYTES))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))

    def too_long(*_: object) -> None:
        raise TooLong

    signal.signal(signal.SIGALRM, too_long)
    corpus = Corpus(seeds(ROOT)[reader], number)
    ends, count, failures, refused = time.monotonic() + seconds, 0, 0, 0
    path = folder / f"now.{reader}"
    while time.monotonic() < ends and failures < MOST_FAILURES:
        data = corpus.next()
        path.write_bytes(data)
        try:
            said = in_time(path)
        except (Exception, TooLong) as error:  # noqa: BLE001 - what is looked for
            failures += 1
            kept = folder / f"failed-{number}-{count}.{reader}"
            kept.write_bytes(data)
            print(f"  {reader}: {type(error).__name__}: {str(error)[:200]}; kept as {kept}", flush=True)
            continue
        count += 1
        refused += not said.startswith(READ)
        corpus.learn(data, said)
    print(
        f"  {reader}: {count} files, {refused} refused, {corpus.kinds} kinds of outcome, {failures} failures",
        flush=True,
    )
    return failures


def fuzz(reader: str, minutes: float, folder: Path) -> int:
    """Run the work in a process of its own, again when it dies. Return how many files failed."""
    ends, failures, number = time.monotonic() + 60 * minutes, 0, 0
    while (left := ends - time.monotonic()) > 1 and failures < MOST_FAILURES:
        number += 1
        command = [sys.executable, "-m", "bench.fuzz", "--work", reader, f"{left:.0f}", str(number), str(folder)]
        status = subprocess.run(command, cwd=ROOT, check=False).returncode
        if status < 0:
            failures += 1
            kept = folder / f"crashed-{number}.{reader}"
            (folder / f"now.{reader}").replace(kept)
            print(f"  {reader}: the process died of {signal.Signals(-status).name}; kept as {kept}", flush=True)
        else:
            return failures + status
    return failures


def main(minutes: float = 10.0, *readers: str) -> int:
    """Fuzz the readers one after another; return the exit status."""
    folder = Path(tempfile.mkdtemp(prefix="lintsvc-fuzz-"))
    failures = {reader: fuzz(reader, minutes, folder) for reader in readers or READERS}
    wrong = {k: v for k, v in failures.items() if v}
    print(f"{minutes:g} min for each of {', '.join(failures)}: {wrong or 'nothing but parts and refusals'}")
    return 1 if wrong else 0


if __name__ == "__main__":
    if sys.argv[1:2] == ["--work"]:
        sys.exit(work(sys.argv[2], float(sys.argv[3]), int(sys.argv[4]), Path(sys.argv[5])))
    sys.exit(main(*(float(x) for x in sys.argv[1:2]), *sys.argv[2:]))
