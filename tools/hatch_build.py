"""Build hook of the wheel: the page is built here, so that `pip install .` gives a working service."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

from hatchling.builders.hooks.plugin.interface import BuildHookInterface

sys.path.insert(0, str(Path(__file__).resolve().parent))


class PageHook(BuildHookInterface):  # type: ignore[type-arg]
    """Builds the page into the wheel. An editable install builds it with `make` instead."""

    PLUGIN_NAME = "custom"

    def dependencies(self) -> list[str]:
        """Node comes from the registry where the machine has none."""
        from find_node import PACKAGE, node_on_path

        return [] if node_on_path() else [PACKAGE]

    def initialize(self, version: str, build_data: dict[str, Any]) -> None:
        """Build the page before the files are gathered."""
        if version == "editable":
            return
        from build_page import build

        build()
