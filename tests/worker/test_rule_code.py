"""Rules that are code run only where whoever runs the service says so; limit rules always do."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from lintsvc.rulebook.packs import load_working_packs

LIMIT_RULE = (
    'title = "T."\nfaulty_when = "hole.diameter < 3 mm"\nmessage = "m"\nremedy = "r"\nignore_when = "i"\n'
    'source = "s"\nlevel = "note"\nsince = "1"\n'
)


@pytest.fixture
def packs(tmp_path: Path) -> Path:
    """A pack of code that leaves a mark when it is run, and one of limits."""
    folder = tmp_path / "packs"
    for name in ("coded", "limits"):
        (folder / name).mkdir(parents=True)
        (folder / name / "pack.toml").write_text(f'name = "{name}"\ntitle = "T"\nsummary = "S"\n')
    (folder / "coded" / "mark.py").write_text(f"open({str(tmp_path / 'mark')!r}, 'w').close()\n")
    (folder / "limits" / "hole.toml").write_text(LIMIT_RULE)
    return folder


def test_code_is_not_even_looked_into_unless_it_may_run(packs: Path, tmp_path: Path) -> None:
    loaded, broken = load_working_packs([packs], code=False)
    assert "limits" in {x.name for x in loaded}
    assert [x.name for x in broken] == ["coded"]
    assert "LINTSVC_RULE_CODE" in broken[0].why
    assert not (tmp_path / "mark").exists()
    load_working_packs([packs])
    assert (tmp_path / "mark").exists()


@pytest.mark.parametrize("said", ["auto", "off", "on"])
def test_worker_on_its_own_takes_code_only_when_told(packs: Path, tmp_path: Path, said: str) -> None:
    # The warm process's own loading, without the parts that it then warms up with.
    code = (
        "import json\nfrom lintsvc_worker import child, warm_up\nwarm_up.for_checks = lambda rules: None\n"
        "child.warm()\nprint(json.dumps([x.id for x in child._rules()]))"
    )
    env = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path), "LINTSVC_RULES": str(packs),
           "LINTSVC_RULE_CODE": said}  # fmt: skip
    done = subprocess.run([sys.executable, "-c", code], env=env, capture_output=True, text=True, check=True)
    rules = json.loads(done.stdout)
    assert (tmp_path / "mark").exists() == (said == "on")
    assert "limits/hole" in rules
    assert any(x.startswith("soundness/") for x in rules)
