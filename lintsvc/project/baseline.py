"""A baseline: an earlier JSON report whose findings are known, so that only new ones count."""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from lintsvc.model.report import PartReport
from lintsvc.project.config import ConfigError


@dataclass
class Baseline:
    """What is left of an earlier report after the parts seen so far: fingerprints by file."""

    path: Path
    left: dict[str, Counter[str]]
    by_content: Mapping[str, str]

    def apply(self, part: PartReport) -> PartReport:
        """Return the entry with known findings set aside. A file that was renamed is known by its content."""
        known = self.left.get(part.file)
        if known is None and part.sha256 in self.by_content:
            known = self.left.get(self.by_content[part.sha256])
        if not known:
            return part
        findings = []
        for finding in part.findings:
            if known[finding.fingerprint] > 0:
                known[finding.fingerprint] -= 1
                # A decision about it says more than that it is known.
                finding = replace(finding, set_aside=finding.set_aside or f"known: it is in {self.path.name}")
            findings.append(finding)
        return replace(part, findings=tuple(findings))

    def gone(self, files: set[str]) -> int:
        """Return how many known findings of these files were not found again."""
        return sum(sum(count.values()) for file, count in self.left.items() if file in files)


def read_baseline(path: Path) -> Baseline:
    """Read a JSON report. Raises ConfigError for what is none."""
    try:
        data: Any = json.loads(path.read_text("utf-8"))
        parts = [(x["file"], x["sha256"], [y["fingerprint"] for y in x["findings"]]) for x in data["parts"]]
    except OSError as error:
        raise ConfigError(f"{path}: cannot be opened: {error.strerror}") from None
    except (ValueError, KeyError, TypeError):
        # UnicodeDecodeError and JSONDecodeError are ValueErrors.
        raise ConfigError(f"{path}: is no JSON report; make one with --format json --output {path.name}") from None
    left = {file: Counter(fingerprints) for file, _, fingerprints in parts}
    return Baseline(path, left, {digest: file for file, digest, _ in parts if digest})
