"""The files for containers and the deployment page agree with the code."""

from __future__ import annotations

import re
from dataclasses import fields
from pathlib import Path

import yaml

from lintsvc.settings import PREFIX, Settings

KNOWN = {PREFIX + x.name.upper() for x in fields(Settings)}


def test_every_variable_that_is_named_exists(repository: Path) -> None:
    for name in ("docker/Dockerfile", "docker/compose.yaml", "docs/deployment.md"):
        named = set(re.findall(r"\bLINTSVC_[A-Z0-9_]+\b", (repository / name).read_text()))
        assert named, name
        assert named <= KNOWN, name


def test_every_file_the_image_is_built_from_exists(repository: Path) -> None:
    text = (repository / "docker" / "Dockerfile").read_text()
    script = re.search(r"RUN python (\S+)", text)
    assert script is not None
    assert (repository / script[1]).is_file()
    # The same step as in `make`.
    assert script[1] in (repository / "Makefile").read_text()


def test_services_are_not_root_read_only_and_watched(repository: Path) -> None:
    compose = yaml.safe_load((repository / "docker" / "compose.yaml").read_text())
    for name in ("web", "worker"):
        service = compose["services"][name]
        assert service["read_only"] is True
        assert service["cap_drop"] == ["ALL"]
        assert "no-new-privileges:true" in service["security_opt"]
    text = (repository / "docker" / "Dockerfile").read_text()
    assert re.search(r"^USER lintsvc$", text, re.MULTILINE)
    assert "HEALTHCHECK" in text
    assert set(compose["services"]) == {"web", "worker", "redis", "records", "blobs"}
    assert all(":" in x["image"] for name, x in compose["services"].items() if name not in ("web", "worker"))
