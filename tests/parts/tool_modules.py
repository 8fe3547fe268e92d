"""The programs in `tools/`, which are no package, as modules."""

from __future__ import annotations

import importlib.util
from pathlib import Path
from types import ModuleType


def tool_module(repository: Path, name: str) -> ModuleType:
    """Load `tools/<name>.py`."""
    spec = importlib.util.spec_from_file_location(name, repository / "tools" / f"{name}.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module
