"""The files for containers and the deployment page agree with the code."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from dataclasses import fields
from pathlib import Path

import yaml
from lintsvc_worker.zygote_client import PROGRAM

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


def test_each_step_of_the_build_is_one_of_make(repository: Path) -> None:
    text = (repository / "docker" / "Dockerfile").read_text()
    makefile = (repository / "Makefile").read_text()
    build = text.partition(" AS build")[2].partition("\nFROM ")[0]
    steps = [x.removeprefix("RUN ") for x in build.splitlines() if x.startswith("RUN ")]
    assert steps[:2] == ["python tools/set_up.py", ".venv/bin/lintsvc warm"]
    assert "tools/set_up.py" in makefile and "lintsvc warm" in makefile
    # The rest only takes away.
    assert all(x.startswith("rm -rf ") for x in steps[2:])


def test_images_are_pinned(repository: Path) -> None:
    text = (repository / "docker" / "Dockerfile").read_text()
    base = re.search(r"^ARG PYTHON_IMAGE=(\S+)$", text, re.MULTILINE)
    assert base is not None
    assert re.fullmatch(r"python:3\.\d+\.\d+-slim-\w+@sha256:[0-9a-f]{64}", base[1])
    assert set(re.findall(r"^FROM (\S+)", text, re.MULTILINE)) == {"${PYTHON_IMAGE}"}
    compose = yaml.safe_load((repository / "docker" / "compose.yaml").read_text())
    for name in ("redis", "records", "blobs"):
        # A version with its patch, or for what has none its number.
        assert re.search(r":\d+\.\d+(\.\d+)?(-\w+)?$", compose["services"][name]["image"]), name


def test_compose_file_has_only_keys_that_there_are_and_names_what_it_has(repository: Path) -> None:
    compose = yaml.safe_load((repository / "docker" / "compose.yaml").read_text())
    assert compose.keys() == {"x-lintsvc", "services", "volumes", "configs"}
    # Of the compose specification, those that are used here.
    known = {"build", "image", "command", "environment", "ports", "volumes", "read_only", "tmpfs", "cap_drop",
             "security_opt", "restart", "stop_grace_period", "depends_on", "healthcheck", "mem_limit",
             "configs"}  # fmt: skip
    health = {"test", "interval", "timeout", "start_period", "retries"}
    for name, service in compose["services"].items():
        assert service.keys() <= known, name
        assert service["restart"] == "unless-stopped"
        if name != "web":  # whose image brings its own
            assert service["healthcheck"].keys() <= health
            assert service["healthcheck"]["test"][0] == "CMD"
        for other, how in service.get("depends_on", {}).items():
            assert how == {"condition": "service_healthy"}
            assert "healthcheck" in compose["services"][other]
        assert all(x["source"] in compose["configs"] for x in service.get("configs", ()))
        for volume in service.get("volumes", ()):
            source = volume.partition(":")[0]
            assert source.startswith("/") or source in compose["volumes"], volume
    addresses = " ".join(compose["services"]["web"]["environment"].values())
    assert all(f"{x}:" in addresses or f"@{x}/" in addresses for x in ("redis", "records", "blobs"))
    # Nobody but the page's own machine reaches anything.
    assert [x for name in compose["services"] for x in compose["services"][name].get("ports", ())] == [
        "127.0.0.1:8080:8080"
    ]


def test_store_of_uploads_knows_the_keys_that_the_service_sends(repository: Path) -> None:
    text = (repository / "docker" / "compose.yaml").read_text()
    # Variables are put in before anything is read, as the compose specification has it.
    given = {"S3_KEY": "key1", "S3_SECRET": "secret2", "POSTGRES_PASSWORD": "word3"}
    compose = yaml.safe_load(re.sub(r"\$\{(\w+):\?\}", lambda x: given[x[1]], text))
    store = compose["services"]["blobs"]
    (mounted,) = store["configs"]
    assert f"-s3.config={mounted['target']}" in store["command"] and "-s3" in store["command"]
    (identity,) = json.loads(compose["configs"][mounted["source"]]["content"])["identities"]
    (keys,) = identity["credentials"]
    sent = compose["services"]["web"]["environment"]
    assert keys == {"accessKey": sent["AWS_ACCESS_KEY_ID"], "secretKey": sent["AWS_SECRET_ACCESS_KEY"]}
    # The bucket is made by the service.
    assert "Admin" in identity["actions"]
    assert sent == compose["services"]["worker"]["environment"]


def test_worker_is_healthy_only_while_its_warm_process_runs(repository: Path) -> None:
    compose = yaml.safe_load((repository / "docker" / "compose.yaml").read_text())
    command = compose["services"]["worker"]["healthcheck"]["test"]
    assert command[:2] == ["CMD", "python"]
    # Where no other process is seen, as in a container: first without, then with one that was started like it.
    script = """"$@" 2>/dev/null && exit 3
        "$1" -c 'import time; time.sleep(60)' -m lintsvc_worker.zygote &
        until "$@" 2>/dev/null; do sleep 0.1; done"""
    alone = ["unshare", "--user", "--map-root-user", "--pid", "--fork", "--kill-child", "--mount-proc"]
    done = subprocess.run([*alone, "sh", "-c", script, "sh", sys.executable, *command[2:]], timeout=60, check=False)
    assert done.returncode == 0
    assert PROGRAM[0] == sys.executable and "\\0".join(PROGRAM[2:]) in command[3]


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
