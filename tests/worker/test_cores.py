"""Jobs that run at once share the worker's cores, and what nobody waits for yet takes none from the others."""

from __future__ import annotations

import json
import re
import threading
from pathlib import Path
from typing import Any

import pytest
from lintsvc_worker.child import made_ahead
from lintsvc_worker.zygote_client import ChildLimits, ZygoteClient
from parts.service_parts import box_stl

LIMITS = ChildLimits(seconds=60, step_seconds=30, memory_bytes=200 << 20, file_bytes=10 << 20, cores=4)
#: Lengths at which a rule of the unruly pack tells its surroundings, and at which one takes four seconds.
TELL_MM, HOLD_MM = 1017, 1006


def run(zygote: ZygoteClient, folder: Path, length_mm: float, says: Any = lambda _: None) -> None:
    folder.mkdir(exist_ok=True)
    (folder / "part").write_bytes(box_stl(length_mm, 20, 20))
    job = {"task": "check", "name": "part.stl", "choices": {}, "without": {}}
    assert zygote.run(job, folder, LIMITS, says, lambda: True).how == "done"


def threads(zygote: ZygoteClient, folder: Path) -> int:
    """How many threads a check may use now."""
    run(zygote, folder, TELL_MM)
    not_checked = json.loads((folder / "report.json").read_text())["not_checked"]
    (told,) = [x["why"] for x in not_checked if x["rule"] == "unruly/tell"]
    found = re.search(r"'LINTSVC_THREADS': '(\d+)'", told)
    assert found is not None
    return int(found[1])


def test_a_check_has_the_cores_that_the_others_leave(zygote: ZygoteClient, tmp_path: Path) -> None:
    assert threads(zygote, tmp_path / "alone") == 4
    began = threading.Event()
    other = threading.Thread(target=run, args=(zygote, tmp_path / "other", HOLD_MM, lambda _: began.set()))
    other.start()
    assert began.wait(30)
    assert threads(zygote, tmp_path / "beside") == 2
    other.join()
    assert threads(zygote, tmp_path / "again") == 4


@pytest.mark.parametrize(
    ("job", "ahead"),
    [
        ({"task": "check", "name": "materials.stl"}, False),
        ({"task": "render", "name": "materials.json"}, True),
        ({"task": "render", "name": "materials.12.json"}, True),
        ({"task": "render", "name": "geometry"}, False),
        ({"task": "order"}, False),
    ],
)
def test_what_is_made_ahead_is_known(job: dict[str, Any], ahead: bool) -> None:
    assert made_ahead(job) is ahead
