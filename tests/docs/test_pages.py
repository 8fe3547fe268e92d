"""The pages in `docs/` say what the program says: reference pages from its code, worked pages from running them."""

from __future__ import annotations

import re
import sys
import tomllib
from pathlib import Path
from types import ModuleType

import pytest
from parts import command
from parts.tool_modules import tool_module

from lintsvc.cli import COMMANDS
from lintsvc.cli import command as command_of
from lintsvc.model.choices_words import CHOICE_NAMES
from lintsvc.project.config import parse_config
from lintsvc.rulebook.limit_rules.load import NEEDED


@pytest.fixture(scope="module")
def tool(repository: Path) -> ModuleType:
    return tool_module(repository, "pages")


def test_every_page_is_what_the_program_says_now(tool: ModuleType, monkeypatch: pytest.MonkeyPatch) -> None:
    started = tool.printed_by

    def printed_by(words: list[str], folder: Path, environment: dict[str, str]) -> str:
        if words[0] == "lintsvc" and sys.platform == "linux":
            return command.printed_by(words[1:], folder, environment)
        told: str = started(words, folder, environment)
        return told

    monkeypatch.setattr(tool, "printed_by", printed_by)
    untrue = {x.name: text for x, text in tool.pages().items() if x.read_text("utf-8") != text}
    assert not untrue, f"{', '.join(untrue)}: not what the program says now; run tools/pages.py"


def test_every_command_and_option_stands_in_the_reference(repository: Path) -> None:
    text = (repository / "docs" / "reference" / "commands.md").read_text("utf-8")
    for name in COMMANDS:
        assert f"## lintsvc {name}\n" in text
        for parameter in command_of(name).params:
            for option in parameter.opts:
                if option.startswith("-"):
                    assert option in text


def test_worked_pages_end_in_no_surprise(repository: Path) -> None:
    for name in ("rule-files.md", "repository.md"):
        text = (repository / "docs" / name).read_text("utf-8")
        assert "Traceback" not in text
        # The one mistake that is shown on purpose.
        assert text.count("Error: ") == (1 if name == "rule-files.md" else 0)


def examples(repository: Path, name: str) -> list[str]:
    """Return the TOML blocks of a page."""
    found: list[str] = re.findall(r"```toml\n(.*?)```", (repository / "docs" / name).read_text("utf-8"), re.DOTALL)
    return found


def test_examples_of_files_are_whole(repository: Path) -> None:
    rule_files = [tomllib.loads(x) for x in examples(repository, "rule-files.md")]
    assert any(set(NEEDED) <= set(x) for x in rule_files)
    (config,) = examples(repository, "repository.md")
    assert parse_config(config, Path("lintsvc.toml")).entries


def test_every_choice_of_the_command_may_stand_in_a_config() -> None:
    options = {x.name for x in command_of("check").params}
    assert {"process", "material", "thickness", "units", "bend_radius", "k_factor"} <= options & set(CHOICE_NAMES)
