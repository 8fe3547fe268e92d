"""The process that checks files for the command: `python -m lintsvc.commands.checker [bodies]`.

Geometry libraries are native code: one may crash, hang, or print on standard output. Here that costs
one file and not the command. On standard input come pickles: first the folders of rules, then jobs;
answers go out on standard output. `bodies` says that what measures bodies will be needed: it is loaded
while the command still reads its options.
"""

from __future__ import annotations

import gc
import os
import pickle
import signal
import sys
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO

from lintsvc.child_process import end_with_parent
from lintsvc.commands.jobs import Compiling, Done, Job, Lost, Message, Refused, Step

if TYPE_CHECKING:
    from lintsvc.packet.drawn import Drawn
    from lintsvc.rulebook.check import Result
    from lintsvc.rulebook.rule import Rule


#: How many objects may come into being before Python looks for unreachable ones. Loading makes a hundred thousand
#: that stay, and measuring makes few: looking as often as usual is a tenth of the time of a small check.
_OBJECTS_BEFORE_A_LOOK = 100_000


def main(ahead: list[str]) -> None:
    """Load the packs, then answer jobs until the input closes."""
    gc.set_threshold(_OBJECTS_BEFORE_A_LOOK)
    # Ctrl-C reaches the whole process group; the command decides what it means and ends us.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    answers = _own_output()
    end_with_parent()
    if "bodies" in ahead:
        import lintsvc.measure.bodies  # noqa: F401
    from lintsvc.rulebook.adjust import Adjustments, check_adjustments
    from lintsvc.rulebook.packs import changes_of, load_packs
    from lintsvc.rulebook.rule import RuleError

    try:
        folders: list[Path] = pickle.load(sys.stdin.buffer)  # noqa: S301 - from the command that started us
    except EOFError:
        return
    try:
        packs = load_packs(folders)
    except RuleError as error:
        _send(answers, Refused(str(error)))
        return
    rules = [rule for pack in packs for rule in pack.rules]
    of_packs = changes_of(packs)
    known_good: set[Adjustments] = set()
    while True:
        try:
            job = pickle.load(sys.stdin.buffer)  # noqa: S301 - from the command that started us
        except EOFError:
            return
        # What packs change first, then what the repository changes.
        job = replace(job, adjustments=of_packs.then(job.adjustments))
        try:
            if job.adjustments not in known_good:
                check_adjustments(rules, job.adjustments)
                known_good.add(job.adjustments)
            answer: Done | Lost | Refused = _answer(job, rules, answers)
        except RuleError as error:
            answer = Refused(str(error))
        except Exception as error:  # noqa: BLE001 - the border of the process: our own mistake costs this file only, and is told
            answer = Lost(job.number, "", f"{type(error).__name__}: {error}")
        _send(answers, answer)


def _answer(job: Job, rules: list[Rule], answers: BinaryIO) -> Done:
    from lintsvc.measure import compile_news
    from lintsvc.rulebook.check import Progress, check_file

    compile_news.listeners[:] = [lambda begins: _send(answers, Compiling(job.number, begins))]
    progress = Progress(step=lambda step, percent: _send(answers, Step(job.number, step, percent)))
    result = check_file(
        job.path,
        job.choices,
        rules if job.rules else (),
        name=job.name,
        adjustments=job.adjustments,
        without=dict(job.without),
        progress=progress,
    )
    trouble, pictures = "", None
    if result.checked is not None:
        if job.highlights is not None:
            trouble = _write_highlights(job.highlights, result)
        if job.picture:
            from lintsvc.reports.picture import svgs_of

            pictures = svgs_of(result.checked.part, result.report.findings, close=job.close_ups)
    drawn = None
    if job.drawn and result.checked is not None:
        drawn, why = _drawn(result)
        trouble = trouble or why
    return Done(job.number, result.report, pictures, trouble, _shape(result) if job.shape else None, drawn)


def _drawn(result: Result) -> tuple[Drawn | None, str]:
    from lintsvc.packet.drawn import drawn_of

    assert result.checked is not None  # the caller looked
    try:
        return drawn_of(result.checked), ""
    except Exception as error:  # noqa: BLE001 - a part that cannot be drawn still has its report
        return None, f"{result.report.file}: the drawing: {type(error).__name__}: {error}"


def _shape(result: Result) -> bytes:
    from lintsvc.order.shape import shape_bytes

    return shape_bytes(result.checked)


def _write_highlights(target: tuple[Path, str], result: Result) -> str:
    from lintsvc.reports.highlights import write_highlights

    assert result.checked is not None  # the caller looked
    folder, stem = target
    try:
        write_highlights(folder, stem, result.checked.part, result.report.findings)
    except OSError as error:
        return f"{folder / stem}: {error.strerror or error}"
    return ""


def _send(answers: BinaryIO, message: Message) -> None:
    pickle.dump(message, answers, protocol=pickle.HIGHEST_PROTOCOL)
    answers.flush()


def _own_output() -> BinaryIO:
    """Keep standard output for the answers, and send what libraries print there into nothing."""
    answers = os.fdopen(os.dup(1), "wb")
    null = os.open(os.devnull, os.O_WRONLY)
    os.dup2(null, 1)
    os.close(null)
    return answers


if __name__ == "__main__":
    main(sys.argv[1:])
