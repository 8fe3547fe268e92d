"""How the kernels of this folder are compiled and run on several cores.

A kernel is a plain loop under `@compiled`. It lets go of Python's lock and takes a range
`start, stop` of its work, so that `in_parts` runs it on a few Python threads. Numba's own
`parallel=True` is not used: its OpenMP threads do not survive a fork (the worker forks a warm
process for every check), its portable thread pool must not be entered from two threads at once,
and it takes three times as long to compile. Threads started by one call and joined by the same
call have none of these traps.

Compiled code is kept beside the source, or in the user's cache folder where that is read-only; see `kept_code`.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from contextlib import suppress
from threading import Thread
from typing import Any, TypeVar, cast

import numpy as np

from lintsvc.measure import (
    compile_news,
    numba_alone,  # noqa: F401 - before numba
)

import numba  # isort: skip
from numba.core import event  # isort: skip

from lintsvc.measure.kept_code import KeptCode  # isort: skip

Kernel = TypeVar("Kernel", bound=Callable[..., Any])

#: Environment variable that sets how many threads a kernel may use.
THREADS_VARIABLE = "LINTSVC_THREADS"
#: Below this many items of work a second thread costs more than it saves.
WORTH_A_THREAD = 4_000


class _News(event.Listener):
    """Hears of every compilation; code that comes from the cache makes none."""

    def on_start(self, event: Any) -> None:
        compile_news.tell(True)

    def on_end(self, event: Any) -> None:
        compile_news.tell(False)


event.register("numba:compile", _News())  # type: ignore[no-untyped-call]


def compiled(function: Kernel) -> Kernel:
    """Compile a kernel on first use, keep it on disk, run it without Python's lock."""
    kernel: Any = numba.njit(nogil=True, error_model="numpy")(function)
    kernel._cache = KeptCode(function)
    return cast(Kernel, kernel)


def inlined(function: Kernel) -> Kernel:
    """Compile a small helper into every kernel that calls it."""
    return cast(Kernel, numba.njit(inline="always", nogil=True, error_model="numpy")(function))


def threads() -> int:
    """How many threads a kernel may use: the setting, else the cores this process may run on."""
    said = os.environ.get(THREADS_VARIABLE, "")
    if said.isdigit() and int(said) > 0:
        return int(said)
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def in_parts(kernel: Callable[..., Any], count: int, *arguments: Any, dear: int = 1) -> list[Any]:
    """Run `kernel(start, stop, *arguments)` over `count` items in a few threads; return what each part returned.

    Parts are smaller than the share of a thread, because some stretches of a mesh are dearer than others.
    `dear`: so many times as much work as usual is an item.
    """
    arguments = tuple(_in_one_piece(x) if isinstance(x, np.ndarray) else x for x in arguments)
    workers = min(threads(), count * dear // WORTH_A_THREAD)
    if workers <= 1:
        return [kernel(0, count, *arguments)]
    parts = workers * 8
    bounds = [count * i // parts for i in range(parts + 1)]
    return shared_out(lambda i: kernel(bounds[i], bounds[i + 1], *arguments), parts, workers)


def _in_one_piece(array: Any) -> Any:
    """Numba compiles anew for an array that is read-only or not in one piece: results are neither."""
    # NumPy's own way of finding out takes longer than many a kernel on one point.
    return array if array.flags.carray else np.require(array, None, ["C", "W"])


def shared_out(work: Callable[[int], Any], tasks: int, workers: int) -> list[Any]:
    """Run `work` on every number below `tasks` and return what it returned, in order: in this thread and
    `workers - 1` more, each of which takes the next number when it has done one."""
    results: list[Any] = [None] * tasks
    failures: list[BaseException] = []
    left = iter(range(tasks))

    def take() -> None:
        try:
            for i in left:
                results[i] = work(i)
        except BaseException as failure:  # noqa: BLE001 - raised again below, in the thread that waits
            failures.append(failure)

    helpers = [Thread(target=take) for _ in range(min(workers, tasks) - 1)]
    started = []
    for helper in helpers:
        # A fenced process may be denied new threads: those that it has do the work.
        with suppress(RuntimeError):
            helper.start()
            started.append(helper)
    take()
    for helper in started:
        helper.join()
    if failures:
        raise failures[0]
    return results
