"""What was measured on a body, kept for a while beside the worker, so that another choice need not measure it again.

The child writes it, and only a child reads it back, behind the same fence: a pickle by a child that a file has
taken over can do to the next check of the same bytes what those bytes could do themselves, and no more.
"""

from __future__ import annotations

import hashlib
import json
import logging
import os
import pickle
import shutil
import stat
import time
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from lintsvc.measure.bodies import BodyMeasurements
    from lintsvc.model.part import Part
    from lintsvc.rulebook.checked import Checked

log = logging.getLogger(__name__)

#: Its name in the child's scratch folder, and that of the report beside it.
MEASURED, REPORT = "measured", "report.json"
#: Below this a second measuring costs about as much as the reading back.
_WORTH_SECONDS = 0.15
#: Kept for so long after its last use, so many, and so much together.
_KEEP_SECONDS, _MOST, _MOST_BYTES = 600.0, 8, 1 << 30
#: Larger, a part may be too large to be read at all, which its reader decides.
_LARGEST_MM = 20_000.0


@dataclass(frozen=True)
class Kept:
    """A part and what was measured on it. `exact`: it was read from a solid, which is not kept."""

    part: Part
    body: BodyMeasurements
    exact: bool


def write_measured(folder: Path, checked: Checked, seconds: float) -> None:
    """In the child: write what was measured on a body, where that took long enough to be worth it.

    It only saves time: where it cannot be written, what was made so far is not lost with it.
    """
    if seconds < _WORTH_SECONDS or checked.choices.process != "powder-bed" or checked.part.body is None:
        return
    exact = checked.part.body.exact is not None or checked.part.format == "STEP"
    body = replace(checked.part.body, exact=None)
    measured = checked.body
    measured.body = body
    part = replace(checked.part, body=body)
    target = folder / MEASURED
    target.unlink(missing_ok=True)
    try:
        with target.open("wb") as file:
            pickle.dump(Kept(part, measured, exact), file, protocol=pickle.HIGHEST_PROTOCOL)
    except Exception:  # the border: a file that may not grow, or something that cannot be written down
        log.exception("what was measured is not kept")
        target.unlink(missing_ok=True)


def read_measured(folder: Path, name: str, process: str | None, units: str | None = None) -> Kept | None:
    """In the child: return what an earlier child measured on these bytes, for this process; None where nothing fits.

    `units`: what the user says now; it is the unit that the file was read in, whoever said so then.
    """
    from lintsvc.readers.doubtful_units import by_the_users_word

    path = folder / MEASURED
    if process not in (None, "powder-bed") or not path.is_file():
        return None
    with path.open("rb") as file:
        kept = pickle.load(file)  # noqa: S301 - see the head of this module
    # Whether a solid is a sheet is asked of the solid itself, which is not kept.
    if not isinstance(kept, Kept) or (kept.exact and process is None):
        return None
    if units is not None and units != kept.part.units.value:
        return _in_unit(kept, name, units)
    read_in = kept.part.units if units is None else by_the_users_word(units)
    return replace(kept, part=replace(kept.part, file=name, units=read_in))


def _in_unit(kept: Kept, name: str, units: str) -> Kept | None:
    """The same file read in another unit than millimetres; None where only its reader can say what comes of that.

    From millimetres only: back from others each coordinate would be a rounding off.
    """
    from lintsvc.measure.in_unit import in_unit
    from lintsvc.model.units import MM_PER_UNIT
    from lintsvc.readers.doubtful_units import by_the_users_word

    factor = MM_PER_UNIT.get(units, 0.0)
    part, body = kept.part, kept.body.body
    farthest = float(abs(body.vertices).max(initial=0.0)) * factor
    if part.units.value != "mm" or kept.exact or part.notes or not factor >= 1.0 or farthest > _LARGEST_MM:
        return None
    larger = in_unit(kept.body, factor)
    x, y, z = (v * factor for v in part.size_mm)
    said = by_the_users_word(units)
    return Kept(replace(part, file=name, units=said, size_mm=(x, y, z), body=larger.body), larger, exact=False)


def _unit_mark(units: str) -> str:
    return hashlib.sha256(units.encode()).hexdigest()


class MeasuredShelf:
    """The worker's side: a folder of what was measured, by content. Losing any of it costs only time."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def place(self, sha256: str, choices: Mapping[str, Any], version: str) -> Path:
        """Return where the measurements of these bytes are kept, as read in the unit that was said, if one was."""
        said = json.dumps([sha256, version])
        units = str(choices.get("units") or "")
        return self.folder / f"{hashlib.sha256(said.encode()).hexdigest()}-{_unit_mark(units)}"

    def lend(self, place: Path, folder: Path) -> None:
        """Put what is kept into a child's folder; for a unit that is not kept, what was measured in millimetres."""
        target = folder / MEASURED
        try:
            if not place.exists() and not place.name.endswith(_unit_mark("")):
                place = place.with_name(f"{place.name.partition('-')[0]}-{_unit_mark('mm')}")
            shutil.copyfile(place, target)
            target.chmod(0o644)
            os.utime(place)
        except OSError:
            target.unlink(missing_ok=True)

    def take(self, place: Path, folder: Path) -> None:
        """Take what a child has measured into keeping, and let go of what is old or too much.

        Where the user said no unit, it is kept under the unit that the file was read in as well: to say that one
        after all, and to go back to saying none, changes no length.
        """
        made = folder / MEASURED
        try:
            if not stat.S_ISREG(made.lstat().st_mode) or made.lstat().st_size > _MOST_BYTES:
                return
            if place.exists() and place.stat().st_size == made.lstat().st_size:
                return  # what was lent comes back as it was
            self.folder.mkdir(parents=True, exist_ok=True, mode=0o700)
            self._make_room(made.stat().st_size)
            made.replace(place)
            os.utime(place)
            self._also(place, folder)
        except FileNotFoundError:
            return
        except OSError as error:
            log.warning("what was measured is not kept: %s", error)

    def _also(self, place: Path, folder: Path) -> None:
        """Keep it under the unit that the child's report says as well."""
        content, _, said = place.name.partition("-")
        if said != _unit_mark(""):
            return
        try:
            units = str(json.loads((folder / REPORT).read_bytes())["part"]["units"]["value"])
        except (OSError, ValueError, KeyError, TypeError):
            return
        other = place.with_name(f"{content}-{_unit_mark(units)}")
        other.unlink(missing_ok=True)
        os.link(place, other)

    def _make_room(self, size: int) -> None:
        # What has two names takes the room of one, and goes with both.
        names: dict[int, list[Path]] = {}
        for path in sorted(self.folder.iterdir()):
            names.setdefault(path.stat().st_ino, []).append(path)
        found = sorted(((x[0].stat().st_mtime, x[0].stat().st_size, x) for x in names.values()), reverse=True)
        total, oldest = size, time.time() - _KEEP_SECONDS
        for number, (used, bytes_, paths) in enumerate(found, 2):
            total += bytes_
            if used < oldest or number > _MOST or total > _MOST_BYTES:
                for path in paths:
                    path.unlink(missing_ok=True)
