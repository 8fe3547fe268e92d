"""The doctor says of each part what holds, and of what is wrong what that is."""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path

from lintsvc.settings import Settings
from lintsvc.store import doctor


def test_everything_is_well_and_the_fence_is_told_part_by_part(tmp_path: Path) -> None:
    found = {x.what: x for x in doctor.look(Settings(state=tmp_path / "state"))}
    assert [x for x in found.values() if not x.well and x.what != "page"] == []
    for part in ("namespaces", "landlock", "seccomp"):
        assert part in found["fence"].words
    assert found["records"].words == "SQLite, 0 checks"


def test_what_is_wrong_is_said_in_words(tmp_path: Path) -> None:
    state = tmp_path / "state"
    state.mkdir(mode=0o755)
    state.chmod(0o755)
    broken = Settings(
        state=state,
        redis_url="unix:///nowhere/redis.sock",
        database_url=f"postgresql://nobody@/x?host={tmp_path}",
        blobs="/proc/nowhere",
        rules=str(tmp_path / "packs"),
    )
    found = {x.what: x for x in doctor.look(broken)}
    wrong = {x.what for x in found.values() if not x.well}
    assert {"state folder", "queue", "records", "blobs", "worker"} <= wrong
    assert "chmod 700" in found["state folder"].words
    assert str(tmp_path / "packs") in found["worker"].words
    assert all("\n" not in x.words and x.words for x in found.values())


def test_full_disk_is_told_before_uploads_are_refused(tmp_path: Path, monkeypatch) -> None:
    usage = shutil.disk_usage(tmp_path)
    monkeypatch.setattr(shutil, "disk_usage", lambda _: usage._replace(free=1023 << 20))
    found = {x.what: x for x in doctor.look(replace(Settings(), state=tmp_path / "state"))}
    assert not found["disk"].well
    assert "1023 MiB" in found["disk"].words
