"""Finding and loading rule packs. A pack is a folder with a pack.toml and one file a rule.

A rule is a .py file, or a .toml file with a limit rule (see `limit_rules.load`); `pack.toml` may also change
limits and levels of any pack's rules (see `adjust`). All packs load the same way: the built-in ones,
`--rules DIR`, a repository's `lint-rules/`, and folders named by installed packages under the entry point
group `lintsvc.packs`.
"""

from __future__ import annotations

import importlib.util
import sys
import tomllib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path

from lintsvc.model.toml_lines import key_lines, line_of
from lintsvc.rulebook.adjust import NO_ADJUSTMENTS, Adjustments, check_adjustments, read_adjustments
from lintsvc.rulebook.rule import Rule, RuleError, rule_of

ENTRY_POINTS = "lintsvc.packs"
_RULE_FILES = (".py", ".toml")


@dataclass(frozen=True)
class Pack:
    """A loaded pack."""

    name: str
    title: str
    summary: str
    folder: Path
    rules: tuple[Rule, ...]
    #: What this pack changes of the rules, its own and others'.
    adjustments: Adjustments = NO_ADJUSTMENTS


def built_in_folder() -> Path:
    """Return the folder of the built-in packs: inside the wheel, else the checkout's `rules/`."""
    package = Path(__file__).resolve().parent.parent
    inside = package / "built_in_rules"
    return inside if inside.is_dir() else package.parent / "rules"


def pack_folders(root: Path) -> Iterator[Path]:
    """Yield the pack folders under `root`, or `root` itself when it is one. Raises RuleError for neither."""
    if (root / "pack.toml").is_file():
        yield root
        return
    found = sorted(x.parent for x in root.glob("*/pack.toml"))
    if not found:
        raise RuleError(f"{root}: no rule pack here; a pack is a folder with a pack.toml")
    yield from found


def installed_folders() -> list[Path]:
    """Return the folders that installed packages offer as packs. An entry point loads to a path."""
    from importlib.metadata import entry_points

    return [Path(str(point.load())) for point in entry_points(group=ENTRY_POINTS)]


def load_pack(folder: Path) -> Pack:
    """Load one pack. Raises RuleError naming the file and what is wrong in it."""
    manifest = folder / "pack.toml"
    try:
        text = manifest.read_text("utf-8")
        data = tomllib.loads(text)
        name, title, summary = (str(data[key]) for key in ("name", "title", "summary"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise RuleError(f"{manifest}: {error}") from None
    except KeyError as error:
        raise RuleError(f"{manifest}: the key {error} is missing; it needs name, title and summary") from None
    files = sorted(x for x in folder.iterdir() if x.suffix in _RULE_FILES and not x.name.startswith("_"))
    rules = tuple(_load_file(x, name) for x in files if x != manifest)
    lines = key_lines(text)

    def place(table: str, key: str) -> str:
        return f"{manifest}, line {line_of((table, key), lines)}"

    return Pack(name, title, summary, folder, rules, read_adjustments(data, place))


def _load_file(path: Path, pack: str) -> Rule:
    """Load one rule: in Python, or a limit rule in TOML."""
    if path.suffix == ".py":
        return _load_rule(path, pack)
    # Imported here: most packs have none.
    from lintsvc.rulebook.limit_rules.load import load_limit_rule

    return replace(load_limit_rule(path, pack), pack=pack, path=str(path))


def _load_rule(path: Path, pack: str) -> Rule:
    """Import one rule file and return its only rule."""
    module_name = f"lintsvc_pack.{pack.replace('-', '_')}.{path.stem}"
    spec = importlib.util.spec_from_file_location(module_name, path)
    assert spec is not None and spec.loader is not None  # a .py path always gives both
    module = importlib.util.module_from_spec(spec)
    # Registered while it runs, because dataclasses and pickling look their module up there.
    sys.modules[module_name] = module
    try:
        spec.loader.exec_module(module)
    except Exception as error:  # a rule file is foreign code: whatever it raises becomes one clear error
        sys.modules.pop(module_name, None)
        if isinstance(error, RuleError):
            raise RuleError(f"{path}: {error}") from None
        raise RuleError(f"{path}: cannot be loaded: {type(error).__name__}: {error}") from error
    rules = [found for value in vars(module).values() if (found := rule_of(value)) is not None]
    if len(rules) != 1:
        raise RuleError(f"{path}: a rule file holds exactly one rule, this one holds {len(rules)}")
    expected = f"{pack}/{path.stem.replace('_', '-')}"
    if rules[0].id != expected:
        raise RuleError(f"{path}: the rule's id is {rules[0].id!r}, by its file it must be {expected!r}")
    return replace(rules[0], pack=pack, path=str(path))


def load_packs(extra: Iterable[Path] = (), *, built_in: bool = True, installed: bool = True) -> tuple[Pack, ...]:
    """Load all packs. Raises RuleError when two rules share an id, naming both files."""
    roots = [built_in_folder()] if built_in else []
    if installed:
        roots += installed_folders()
    roots += [Path(x) for x in extra]
    packs = [load_pack(folder) for root in roots for folder in pack_folders(root)]
    seen: dict[str, str] = {}
    for pack in packs:
        for rule in pack.rules:
            if rule.id in seen:
                raise RuleError(f"two rules are called {rule.id!r}: {seen[rule.id]} and {rule.path}")
            seen[rule.id] = rule.path
    check_adjustments([rule for pack in packs for rule in pack.rules], changes_of(packs))
    return tuple(packs)


def changes_of(packs: Iterable[Pack]) -> Adjustments:
    """Return what packs change of rules, in the order of the packs."""
    changes = NO_ADJUSTMENTS
    for pack in packs:
        changes = changes.then(pack.adjustments)
    return changes
