"""The recipes of docs/recipes, run as far as one machine can: their shell steps, in a git repository."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import junitparser
import pytest
import yaml
from parts.service_parts import box_stl
from recipes.shop import break_box, environment, git, recipes, shop, tools

from lintsvc.cli import command as command_of

__all__ = ["recipes", "shop", "tools"]


def shell(text: str, folder: Path, env: Mapping[str, str]) -> subprocess.CompletedProcess[str]:
    """Run a step as a CI system does: by a shell that stops at the first failure."""
    return subprocess.run(
        ["bash", "-e", "-o", "pipefail", "-c", text], cwd=folder, env=env, capture_output=True, text=True, check=False
    )


# ---------------------------------------------------------------------- the hook


def test_hook_lets_sound_parts_in_and_keeps_faulty_ones_out(recipes: Path, shop: Path, tools: Path) -> None:
    shutil.copy(recipes / "pre-commit", shop / ".git" / "hooks" / "pre-commit")
    env = environment(tools)
    (shop / "second.stl").write_bytes(box_stl(25, 20, 20))
    git(shop, "add", ".")
    good = git(shop, "commit", "-m", "a second box", env=env)
    assert good.returncode == 0, good.stderr
    break_box(shop)
    git(shop, "add", ".")
    bad = git(shop, "commit", "-m", "a broken box", env=env)
    assert bad.returncode != 0
    assert "soundness/open-edge" in bad.stdout + bad.stderr
    assert "The commit is not made" in bad.stderr
    assert git(shop, "log", "--format=%s").stdout.split("\n")[0] == "a second box"


def test_hook_looks_at_what_is_staged_and_not_at_what_lies_there(recipes: Path, shop: Path, tools: Path) -> None:
    shutil.copy(recipes / "pre-commit", shop / ".git" / "hooks" / "pre-commit")
    break_box(shop)
    (shop / "second.stl").write_bytes(box_stl(25, 20, 20))
    git(shop, "add", "second.stl")
    done = git(shop, "commit", "-m", "only the second", env=environment(tools))
    assert done.returncode == 0, done.stderr
    # Nothing is left of what the hook unpacked, and the working folder is as it was.
    assert git(shop, "status", "--porcelain").stdout.split() == ["M", "box.stl"]


# ---------------------------------------------------------------------- CI systems


def load(path: Path) -> Any:
    return yaml.safe_load(path.read_text("utf-8"))


def github_steps(recipes: Path) -> Iterator[tuple[str, str]]:
    for step in load(recipes / "github.yml")["jobs"]["check"]["steps"]:
        assert ("run" in step) != ("uses" in step)
        if "run" in step:
            assert "${{" not in step["run"], "what others write must not reach a shell as code"
            yield step["name"], step["run"]


def test_github_workflow_has_the_shape_of_one(recipes: Path) -> None:
    found = load(recipes / "github.yml")
    # YAML 1.1 reads the key `on` as true.
    assert found[True] == ["push", "pull_request"]
    assert found["permissions"] == {"contents": "read", "security-events": "write"}
    used = [x["uses"] for x in found["jobs"]["check"]["steps"] if "uses" in x]
    assert all("@v" in x for x in used)


@pytest.mark.parametrize("faulty", [False, True])
def test_github_steps_do_what_they_say(recipes: Path, shop: Path, tools: Path, faulty: bool) -> None:
    base = git(shop, "rev-parse", "HEAD").stdout.strip()
    if faulty:
        break_box(shop)
        git(shop, "commit", "-q", "-a", "-m", "a broken box")
    env = environment(tools, BASE=base, GITHUB_STEP_SUMMARY=str(shop / "step-summary.md"))
    ran = {name: shell(text, shop, env) for name, text in github_steps(recipes)}
    assert {k: v.returncode for k, v in ran.items()} == {"Install": 0, "Check": int(faulty), "Summary": 0}, ran
    sarif = json.loads((shop / "lintsvc.sarif").read_text())
    rules = {x["ruleId"] for run in sarif["runs"] for x in run["results"]}
    assert ("soundness/open-edge" in rules) == faulty
    summary = (shop / "step-summary.md").read_text()
    assert ("soundness/open-edge" in summary) == faulty
    assert ("findings new" in summary) or ("finding new" in summary)
    assert "pictures/box.stl.picture.svg" in summary
    assert (shop / "pictures" / "box.stl.picture.svg").is_file()


@pytest.mark.parametrize("faulty", [False, True])
def test_gitlab_steps_do_what_they_say(recipes: Path, shop: Path, tools: Path, faulty: bool) -> None:
    job = load(recipes / "gitlab.yml")["parts"]
    base = git(shop, "rev-parse", "HEAD").stdout.strip()
    if faulty:
        break_box(shop)
        git(shop, "commit", "-q", "-a", "-m", "a broken box")
    env = environment(tools, CI_PROJECT_DIR=str(shop), XDG_CACHE_HOME=str(shop / ".cache"))
    for request in ({}, {"CI_MERGE_REQUEST_DIFF_BASE_SHA": base}):
        # Lines of a job run as one script; what comes after the script runs whatever came of it.
        done = shell("\n".join(job["before_script"] + job["script"]), shop, env | request)
        assert done.returncode == int(faulty), done.stderr
    after = shell("\n".join(job["after_script"]), shop, env)
    assert after.returncode == 0, after.stderr
    assert "<html" in (shop / job["artifacts"]["paths"][0]).read_text("utf-8")
    if not faulty:
        report = junitparser.JUnitXml.fromfile(str(shop / job["artifacts"]["reports"]["junit"]))
        assert report.tests > 0
    # In a merge request the comparison is what fails first, so that only what is new is told.
    if faulty:
        assert "new   error soundness/open-edge" in done.stdout


def test_woodpecker_steps_check_only_what_changed(recipes: Path, shop: Path, tools: Path) -> None:
    steps = load(recipes / "woodpecker.yml")["steps"]
    before = git(shop, "rev-parse", "HEAD").stdout.strip()
    (shop / "second.stl").write_bytes(box_stl(25, 20, 20))
    git(shop, "add", ".")
    git(shop, "commit", "-q", "-m", "a second box")
    env = environment(tools, CI_PREV_COMMIT_SHA=before)
    check = shell("\n".join(steps[0]["commands"]), shop, env)
    assert check.returncode == 0, check.stderr
    assert "second.stl" in check.stdout and "plate.dxf" not in check.stdout
    report = shell("\n".join(steps[1]["commands"]), shop, env)
    assert report.returncode == 0 and (shop / "parts.html").is_file()


# ---------------------------------------------------------------------- container


def test_container_is_called_with_words_that_the_image_knows(
    recipes: Path, repository: Path, shop: Path, tools: Path
) -> None:
    told = tools / "told"
    (tools / "docker").write_text(f'#!/bin/sh\nprintf "%s\\n" "$@" > "{told}"\n')
    (tools / "docker").chmod(0o755)
    done = subprocess.run(
        [recipes / "container.sh", "--format", "json"],
        cwd=shop,
        env=environment(tools),
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    words = told.read_text().splitlines()
    image = words.index("lintsvc")
    assert words[:2] == ["run", "--rm"] and f"{shop}:/parts:ro" in words[:image]
    assert words[image + 1 : image + 3] == ["lintsvc", "check"]
    # What stands behind the image's name is a command that runs here as it would there.
    arguments = words[image + 3 :]
    command_of("check").make_context("lintsvc check", list(arguments))
    ran = subprocess.run(
        [tools / "lintsvc", "check", *arguments], cwd=shop, env=environment(tools), capture_output=True, text=True,
        check=False,
    )  # fmt: skip
    assert ran.returncode == 0, ran.stderr
    assert len(json.loads(ran.stdout)["parts"]) == 2
    image_file = (repository / "docker" / "Dockerfile").read_text("utf-8")
    assert "ENTRYPOINT" not in image_file, "the recipe names the command itself"
    assert "/opt/lintsvc/.venv/bin" in image_file and "10001" in image_file


def test_every_recipe_stands_on_the_page_and_names_no_address(recipes: Path) -> None:
    page = (recipes.parent / "recipes.md").read_text("utf-8")
    for path in recipes.iterdir():
        text = path.read_text("utf-8")
        assert text in page, path.name
        assert "://" not in text, path.name
        if path.suffix in ("", ".sh"):
            assert os.access(path, os.X_OK)
            assert subprocess.run(["sh", "-n", str(path)], check=False).returncode == 0
