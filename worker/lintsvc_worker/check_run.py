"""One check in a worker's hands: each file in a fenced child, results stored as they come.

A rule that crashes, loops or eats memory takes its child along; the file is then checked again
without that rule, which the report lists as not checked. A step that is no rule (reading, measuring)
ends the file with an entry that says so.
"""

from __future__ import annotations

import json
import logging
import math
import tempfile
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from lintsvc.store import claims, events, keeping
from lintsvc.store.blobs import file_blob
from lintsvc.store.checks import FileOf, read_check, result_key
from lintsvc.store.claims import Claim, FileResult, Terms
from lintsvc.store.logs import request_id
from lintsvc.store.stray import remove_folder
from lintsvc_worker import child
from lintsvc_worker.context import Context, again_and_again
from lintsvc_worker.made import last_words
from lintsvc_worker.result import lost_entry, read_made, scratch_key, summary_of, why_lost
from lintsvc_worker.zygote import STEPS
from lintsvc_worker.zygote_client import CannotLoadAll, CannotWarmUp, ChildLimits, Ended

log = logging.getLogger(__name__)

#: So many rules may take the child down before the rest is left out.
_MOST_LOST = 3
#: So many findings of a file are told as they come; the report has them all.
_TELL_FINDINGS = 200
#: Events are gathered for so long.
_TELL_SECONDS = 0.1


class Stopped(Exception):
    """The check is not ours any more, was cancelled, or the worker stops. `why` says which."""

    def __init__(self, why: str) -> None:
        self.why = why
        super().__init__(why)


@dataclass
class Watch:
    """Keeps the claim alive while a child works, and passes on what it says."""

    context: Context
    claim: Claim
    file: int = 0
    step: str = ""
    percent: float = 0.0
    findings: int = 0
    stop: str = ""
    next_beat: float = 0.0
    waiting: list[tuple[str, Mapping[str, Any]]] = field(default_factory=list)
    next_tell: float = 0.0

    def says(self, line: dict[str, Any]) -> None:
        """Take one line from the child. It is not trusted: only what is expected is passed on."""
        if "step" in line:
            self.step = str(line["step"])[:128]
            within = line.get("percent", 0.0)
            # Anything but a number from 0 to 100, the number that is none among it, is no progress.
            within = float(within) if isinstance(within, (int, float)) and 0.0 <= within <= 100.0 else 0.0
            self.percent = round(100.0 * (self.file + within / 100.0) / len(self.claim.check.files), 1)
            self.tell("step", {"file": self.file, "step": self.step, "percent": self.percent})
        elif isinstance(found := line.get("findings"), list):
            for finding in found[: _TELL_FINDINGS - self.findings]:
                self.findings += 1
                self.tell("finding", {"file": self.file, "finding": finding})

    def tell(self, event: str, data: Mapping[str, Any]) -> None:
        """Publish an event of this check, in a moment: most checks are over before anybody could look."""
        if not self.waiting:
            self.next_tell = time.monotonic() + _TELL_SECONDS
        self.waiting.append((event, data))

    def flush(self) -> None:
        """Publish what waits."""
        told, self.waiting = self.waiting, []
        if told:
            self.context.events.publish(self.claim.check.id, told)

    def tick(self) -> bool:
        """Beat and publish now and then. False: stop the child."""
        now = time.monotonic()
        if self.waiting and now >= self.next_tell:
            self.flush()
        if self.stop or now < self.next_beat:
            return not self.stop
        self.next_beat = now + min(2.0, self.context.settings.lease_seconds / 4)
        if self.context.stopping.is_set():
            self.stop = "stopping"
            return False
        said = self.context.beat(self.claim, self.step, self.percent)
        if said != "go":
            self.stop = said
        return not self.stop


@dataclass
class Following:
    """Whether, when a check ends, the next one is to be taken in the same transaction.

    `call` is set where it was not, although others may wait: somebody is to be called for them.
    """

    terms: Terms
    fair: bool
    wanted: Callable[[], bool]
    call: bool = False


def run_check(context: Context, claim: Claim, following: Following) -> Claim | None:
    """Take a claimed check to its end, whatever comes. Return the next one, where one was taken."""
    check = claim.check
    # Every line that is logged from here on, by whatever part, tells whose check it is about.
    request_id.set(check.request)
    watch = Watch(context, claim, next_beat=time.monotonic() + 1.0)
    watch.tell("state", {"state": "running", "files": len(check.files)})
    started = time.monotonic()
    why = "workers died of it; see the report" if claim.give_up else ""
    result: FileResult | None = None
    try:
        for file in check.files:
            # Stored before the next begins: what is done stays done whoever dies.
            _store(context, claim, result)
            watch.file, result = file.number, None
            if file.result is None:
                result = _run_file(context, claim, file, watch)
            watch.tell("file", {"file": file.number})
        last = result
        then = following.terms if following.wanted() else None
        ended = again_and_again(
            context, lambda: claims.finish(context.db, claim, why, last, then_claim=then, fair=following.fair)
        )
        if last is not None and not ended.stored:
            keeping.drop_made(context.blobs, last.made)
        following.call = then is None or ended.total is None
    except Stopped as stopped:
        _let_go(context, claim, watch, stopped.why)
        following.call = stopped.why in ("cancelled", "lost")
        return None
    except CannotLoadAll as error:
        log.error("check %s cannot be made here: %s", check.id, error)
        # Another worker may fare better, or this one in a while; in the end the report says so.
        _let_go(context, claim, watch, "waiting", counts=True)
        return None
    except (CannotWarmUp, OSError) as error:
        # Nothing to do with the file: no memory for the warm process, a full disk, storage away.
        log.error("check %s has to wait: %s", check.id, error)
        _let_go(context, claim, watch, "waiting")
        return None
    except Exception:  # the border of a check: an error of ours counts as a death, so that it does not go on for ever
        log.exception("check %s failed", check.id)
        again_and_again(context, lambda: claims.hand_back(context.db, claim, counts=True))
        return None
    if ended.total is None:
        log.info("check %s was finished by somebody else", check.id)
        return ended.following
    state = "failed" if why else "done"
    watch.tell("state", {"state": state, "summary": ended.total})
    watch.flush()
    context.tally.count("checks", state=state)
    context.tally.measure("check_seconds", time.monotonic() - started)
    log.info("check %s %s, %s", check.id, state, ended.total)
    return ended.following


def _let_go(context: Context, claim: Claim, watch: Watch, why: str, *, counts: bool = False) -> None:
    if why == "cancelled":
        again_and_again(context, lambda: claims.end_cancelled(context.db, claim))
        watch.tell("state", {"state": "cancelled"})
        context.tally.count("checks", state="cancelled")
    elif why in ("stopping", "waiting"):
        again_and_again(context, lambda: claims.hand_back(context.db, claim, counts=counts))
        watch.tell("state", {"state": "queued"})
        if why == "stopping":  # another worker may take it at once; what has to wait is called out by the sweeper
            context.caller.check_now(claim.check.id, claim.check.request)
    elif why == "lost":
        watch.waiting.clear()
        if again_and_again(context, lambda: read_check(context.db, claim.check.id)) is None:
            # Deleted; what was told since then goes, too.
            events.forget(context.redis, claim.check.id)
    watch.flush()
    log.info("check %s let go: %s", claim.check.id, why)


def _store(context: Context, claim: Claim, result: FileResult | None) -> None:
    if result is not None and not again_and_again(context, lambda: claims.finish_file(context.db, claim, result)):
        keeping.drop_made(context.blobs, result.made)


def _run_file(context: Context, claim: Claim, file: FileOf, watch: Watch) -> FileResult | None:
    """Check one file. Return its result, None where a stored one was found."""
    choices = dict(claim.check.choices)
    version = context.version
    key = result_key(file.sha256, choices, version)
    if again_and_again(context, lambda: claims.link_known(context.db, claim, file.number, key)):
        context.tally.count("files", outcome="known")
        return None
    with scratch_folder(context) as scratch:
        if claim.give_up:
            entry, places, outcome = _given_up(file, choices), b"", "given up"
        else:
            try:
                entry, places, outcome = _check_file(context, file, choices, scratch, watch)
            except CannotLoadAll as error:
                if claim.check.attempts < context.settings.deaths:
                    raise
                entry, places, outcome = _not_loaded(file, choices, error), b"", "given up"
        if outcome != "done" or context.version != version:
            # The next try may fare better, or the rules changed meanwhile: this result is for this check alone.
            key = scratch_key(key, claim.check.id, claim.secret, file.number)
        made = [
            keeping.make_artefact(context.blobs, name, data, scratch)
            for name, data in (
                (child.REPORT, json.dumps(entry, allow_nan=False).encode()),
                (child.PLACES, places or b'{"findings": []}'),
            )
        ]
    context.tally.count("files", outcome=outcome)
    for step, seconds in entry["seconds"].items():
        context.tally.measure("step_seconds", seconds, step=step)
    return FileResult(file.number, key, summary_of(entry), made)


def _given_up(file: FileOf, choices: Mapping[str, Any]) -> dict[str, Any]:
    why = "The process that checked this file died every time, so it was given up."
    return lost_entry(file, choices, why, "", "Export the part again, more simply if possible, and check it once more.")


def _not_loaded(file: FileOf, choices: Mapping[str, Any], error: CannotLoadAll) -> dict[str, Any]:
    why = f"This service cannot check such files at present: {error}."
    remedy = "Nothing is wrong with the file. Tell whoever runs the service; send the file again when it is mended."
    return lost_entry(file, choices, why, "", remedy)


def _check_file(
    context: Context, file: FileOf, choices: dict[str, Any], scratch: Path, watch: Watch
) -> tuple[dict[str, Any], bytes, str]:
    """Run the child, again without a rule that took it down. Return entry, places and outcome.

    When the time for the file is used up, or too many rules are lost, the last run has only those
    rules that came to their end before: what they say stands, the others are listed as not checked.
    """
    settings = context.settings
    lost: dict[str, str] = {}
    finished: set[str] = set()
    deaths = 0
    ends = time.monotonic() + settings.file_seconds
    last = False
    while True:
        folder = Path(tempfile.mkdtemp(dir=scratch))
        context.blobs.fetch(file_blob(file.sha256), folder / child.PART)
        shelf = context.measured.place(file.sha256, choices, context.version)
        context.measured.lend(shelf, folder)
        job: dict[str, Any] = {
            "task": "check",
            "name": file.name,
            "choices": choices,
            "without": lost,
            "solid": child.may_be_solid(folder / child.PART),
        }
        if last:
            job["only"] = sorted(finished)
        limits = limits_of(context)
        if not last:
            limits = replace(limits, seconds=max(1.0, ends - time.monotonic()))
        ended = context.zygote.run(job, folder, limits, watch.says, watch.tick)
        context.tally.measure("peak_mib", ended.peak_bytes / 2**20)
        if watch.stop:
            raise Stopped(watch.stop)
        if ended.how == "done" and (made := _what_it_made(folder)) is not None:
            context.measured.take(shelf, folder)
            return *made, "rules lost" if lost else "done"
        log.warning("check of %s ended in %s: %s%s", file.sha256[:12], ended.step, ended.how, last_words(folder))
        if _from_outside(ended) and deaths < 3:
            deaths += 1
            continue
        why = why_lost(
            ended, seconds=settings.file_seconds, step_seconds=settings.step_seconds, memory_mib=settings.memory_mib
        )
        if "/" not in ended.step or ended.step in lost or len(lost) >= 2 * _MOST_LOST:
            return _stuck(file, choices, ended, why), b"", ended.how
        if not last:
            finished |= _steps_of(folder)
        # Also in the last run: a measurement that one rule was spared may fall to the next.
        finished.discard(ended.step)
        lost[ended.step] = f"the rule failed: {why}"
        last = last or len(lost) >= _MOST_LOST or time.monotonic() > ends


def _steps_of(folder: Path) -> set[str]:
    """The rules that a child began."""
    try:
        text = read_made(folder / STEPS, 1 << 20).decode("utf-8", "replace")
    except OSError:
        return set()
    return {x for x in text.splitlines() if "/" in x}


def _what_it_made(folder: Path) -> tuple[dict[str, Any], bytes] | None:
    """Entry and places that the child wrote; None when they are not there or are no such thing."""
    try:
        entry = json.loads(read_made(folder / child.REPORT), parse_float=_number, parse_constant=_number)
        places = read_made(folder / child.PLACES)
    except (OSError, ValueError):
        return None
    return (entry, places) if isinstance(entry, dict) else None


def _number(text: str) -> float:
    """A number that is one: a child that was taken over may write NaN, or 1e999, which is read as infinity."""
    if not math.isfinite(number := float(text)):
        raise ValueError(f"{text} is no number that JSON has")
    return number


def _from_outside(ended: Ended) -> bool:
    """True when nobody of ours ended the child: the machine was short of memory, or somebody meant it."""
    return ended.how == "gone" or (ended.how == "crash" and ended.code == -9)


def _stuck(file: FileOf, choices: Mapping[str, Any], ended: Ended, why: str) -> dict[str, Any]:
    doing = {"start": "Reading", "read": "Reading", "measure": "Measuring"}.get(ended.step, "Checking")
    remedy = "Export the part more simply: fewer triangles or curves, or one part a file."
    return lost_entry(file, choices, f"{doing} this file could not be finished: {why}.", f"at {ended.step}", remedy)


def limits_of(context: Context) -> ChildLimits:
    """The limits of one child, from the settings."""
    settings = context.settings
    return ChildLimits(
        seconds=settings.file_seconds,
        step_seconds=settings.step_seconds,
        memory_bytes=settings.memory_mib << 20,
        file_bytes=settings.written_mib << 20,
        cores=settings.job_count,
    )


@contextmanager
def scratch_folder(context: Context) -> Iterator[Path]:
    """A folder that is gone afterwards, whoever owned what in it."""
    context.settings.scratch.mkdir(parents=True, exist_ok=True)
    folder = Path(tempfile.mkdtemp(dir=context.settings.scratch))
    # The child may run as another user, who must come through here but see nothing beside it.
    folder.chmod(0o711)
    try:
        yield folder
    finally:
        remove_folder(folder)
