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
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from lintsvc.model.meant import meant
from lintsvc.model.toml_lines import key_lines, line_of
from lintsvc.rulebook.adjust import NO_ADJUSTMENTS, Adjustments, check_adjustments, read_adjustments
from lintsvc.rulebook.rule import Rule, RuleError, rule_of

ENTRY_POINTS = "lintsvc.packs"
_RULE_FILES = (".py", ".toml")
#: Versions of the rule API that a pack may be written for, see `lintsvc.rulebook.api`.
API_VERSIONS = (1,)
MANIFEST_KEYS = ("name", "title", "summary", "api", "limits", "levels")


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


@dataclass(frozen=True, slots=True)
class BrokenPack:
    """A pack that could not be loaded, and why."""

    name: str
    folder: Path
    why: str


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
    """Return the folders that installed packages offer as packs. An entry point loads to a path. Raises RuleError."""
    from importlib.metadata import entry_points

    folders = []
    for point in entry_points(group=ENTRY_POINTS):
        try:
            folders.append(Path(str(point.load())))
        except Exception as error:  # foreign code: whatever it raises becomes one clear error
            what = f"{type(error).__name__}: {error}"
            raise RuleError(f"the installed pack {point.name!r} ({point.value}) cannot be loaded: {what}") from error
    return folders


def load_pack(folder: Path) -> Pack:
    """Load one pack. Raises RuleError naming the file and what is wrong in it."""
    manifest = folder / "pack.toml"
    try:
        text = manifest.read_text("utf-8")
        data = tomllib.loads(text)
        _check_manifest(manifest, data, text)
        name, title, summary = (str(data[key]) for key in ("name", "title", "summary"))
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise RuleError(f"{manifest}: {error}") from None
    except KeyError as error:
        raise RuleError(f"{manifest}: the key {error} is missing; it needs name, title and summary") from None
    files = sorted(x for x in folder.iterdir() if x.suffix in _RULE_FILES and not x.name.startswith("_"))
    rules = tuple(_load_file(x, name) for x in files if x != manifest)
    if any(x.suffix == ".toml" for x in files if x != manifest):
        from lintsvc.rulebook.limit_rules import kept

        kept.keep()
    lines = key_lines(text)

    def place(table: str, key: str) -> str:
        return f"{manifest}, line {line_of((table, key), lines)}"

    return Pack(name, title, summary, folder, rules, read_adjustments(data, place))


def _check_manifest(manifest: Path, data: Mapping[str, Any], text: str) -> None:
    """Raise RuleError for a key that means nothing, and for a version of the rule API that is not this one."""
    lines = key_lines(text)
    for key in data:
        if key not in MANIFEST_KEYS:
            hint = meant(key, MANIFEST_KEYS)
            raise RuleError(f"{manifest}, line {line_of((key,), lines)}: there is no key {key!r} here; {hint}")
    written_for = data.get("api", 1)
    if written_for not in API_VERSIONS or isinstance(written_for, bool):
        known = ", ".join(map(str, API_VERSIONS))
        raise RuleError(
            f"{manifest}, line {line_of(('api',), lines)}: the pack is written for version {written_for!r} of the rule "
            f"API; this lintsvc has {known}"
        )


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
        place = _place_in(path, error)
        if isinstance(error, RuleError):
            raise RuleError(f"{place}: {error}") from None
        raise RuleError(f"{place}: cannot be loaded: {type(error).__name__}: {error}") from error
    rules = [found for value in vars(module).values() if (found := rule_of(value)) is not None]
    if len(rules) != 1:
        raise RuleError(f"{path}: a rule file holds exactly one rule, this one holds {len(rules)}")
    expected = f"{pack}/{path.stem.replace('_', '-')}"
    if rules[0].id != expected:
        raise RuleError(f"{path}: the rule's id is {rules[0].id!r}, by its file it must be {expected!r}")
    return replace(rules[0], pack=pack, path=str(path))


def _place_in(path: Path, error: BaseException) -> str:
    """Return the file, and the line of it that an error came from, where that is known."""
    line = error.lineno if isinstance(error, SyntaxError) else None
    trace = error.__traceback__
    while trace is not None:
        if trace.tb_frame.f_code.co_filename == str(path):
            line = trace.tb_lineno
        trace = trace.tb_next
    return f"{path}, line {line}" if line else str(path)


def load_packs(extra: Iterable[Path] = (), *, built_in: bool = True, installed: bool = True) -> tuple[Pack, ...]:
    """Load all packs. Raises RuleError when two rules share an id, naming both files."""
    roots = [built_in_folder()] if built_in else []
    if installed:
        roots += installed_folders()
    roots += [Path(x) for x in extra]
    # A folder that is named twice, as the built-in packs to be tested are, is one.
    folders = {folder.resolve(): folder for root in reversed(roots) for folder in reversed(list(pack_folders(root)))}
    packs = [load_pack(folder) for folder in reversed(folders.values())]
    _refuse_twins(packs)
    check_adjustments([rule for pack in packs for rule in pack.rules], changes_of(packs))
    return tuple(packs)


def _refuse_twins(packs: Iterable[Pack]) -> None:
    seen: dict[str, str] = {}
    for pack in packs:
        for rule in pack.rules:
            if rule.id in seen:
                raise RuleError(f"two rules are called {rule.id!r}: {seen[rule.id]} and {rule.path}")
            seen[rule.id] = rule.path


def load_working_packs(extra: Sequence[Path], *, code: bool = True) -> tuple[tuple[Pack, ...], tuple[BrokenPack, ...]]:
    """Load all packs for a service: one that cannot be loaded is left out, and told. The built-in ones always load.

    `code` False: packs under `extra` with rules that are code are left out too, and nothing of them is run.
    """
    packs = list(load_packs(installed=False))
    folders, broken = _folders_of(extra)
    for folder in folders:
        try:
            if not code and any(folder.is_relative_to(x) for x in extra):
                _refuse_code(folder)
            pack = load_pack(folder)
            _refuse_twins((*packs, pack))
            packs.append(pack)
        except (RuleError, OSError) as error:
            broken.append(_broken(folder, str(error)))
    # A pack may change rules of any other; when one goes, what others change of its rules goes too.
    while (wrong := _with_wrong_changes(packs)) is not None:
        pack, why = wrong
        packs.remove(pack)
        broken.append(_broken(pack.folder, why))
    return tuple(packs), tuple(broken)


def _refuse_code(folder: Path) -> None:
    """Raise RuleError for a pack that has anything that Python would run."""
    found = next((x for x in sorted(folder.rglob("*")) if x.suffix == ".py" and "fixtures" not in x.parts), None)
    if found is not None:
        raise RuleError(
            f"{found}: this service takes no rules that are code; write it as a limit rule in TOML, or have whoever "
            "runs the service set LINTSVC_RULE_CODE=on"
        )


def _folders_of(extra: Iterable[Path]) -> tuple[list[Path], list[BrokenPack]]:
    """Return the pack folders of installed packages and under `extra`, and what of them cannot be used."""
    folders: list[Path] = []
    broken: list[BrokenPack] = []
    try:
        roots = [*installed_folders(), *extra]
    except RuleError as error:
        broken.append(BrokenPack("installed packages", Path(), str(error)))
        roots = list(extra)
    for root in roots:
        try:
            folders += pack_folders(root)
        except (RuleError, OSError) as error:
            broken.append(_broken(root, str(error)))
    return folders, broken


def _broken(folder: Path, why: str) -> BrokenPack:
    # Those who read reports are not told where on the machine it lies.
    return BrokenPack(folder.name, folder, why.replace(f"{folder.parent}/", ""))


def _with_wrong_changes(packs: Sequence[Pack]) -> tuple[Pack, str] | None:
    """Return a pack that changes what is not there, and why it is wrong."""
    rules = [rule for pack in packs for rule in pack.rules]
    for pack in packs:
        try:
            check_adjustments(rules, pack.adjustments)
        except RuleError as error:
            return pack, str(error)
    return None


def changes_of(packs: Iterable[Pack]) -> Adjustments:
    """Return what packs change of rules, in the order of the packs."""
    changes = NO_ADJUSTMENTS
    for pack in packs:
        changes = changes.then(pack.adjustments)
    return changes
