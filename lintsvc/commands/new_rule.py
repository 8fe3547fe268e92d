"""`lintsvc new-rule`."""

from __future__ import annotations

import re
from pathlib import Path

import click

from lintsvc.commands.new_rule_parts import PARTS, Example
from lintsvc.project.set_aside import quoted
from lintsvc.rulebook.rule import ID_PATTERN

_PACK = """\
name = {name}
title = {title}
summary = "Our own limits."
api = 1
"""

_RULE = """\
# A limit rule. `lintsvc features` lists what the condition may speak of; {{measured}}, {{limit}} and {words}
# may stand in the message and the remedy.
title = {title}
why = "Say here what goes wrong, and why."
faulty_when = {condition}
message = "{what} is {{measured}}; we need {{limit}}."
remedy = "Make it {{limit}} or {better}."
ignore_when = "say here when it is right to ignore it"
source = "say here where the limit is from: who measured it, on what, when"
level = "warning"
since = "1"
"""

_CASE = """\
[[case]]
file = {file}
{choices}finds = {finds}
"""


@click.command("new-rule")
@click.argument("folder", type=click.Path(path_type=Path), metavar="DIR")
@click.argument("name")
@click.option(
    "--about",
    type=click.Choice(list(PARTS)),
    default="hole",
    show_default=True,
    help="The feature that the rule is about; other features are written by hand.",
)
def new_rule(folder: Path, name: str, about: str) -> int:
    """Write a limit rule NAME (what is wrong: hole-too-small) into the pack in DIR, made if need be.

    With it a good and a bad part just either side of its limit, so that `lintsvc test-rules DIR` says well.
    """
    pack = _pack_name(folder)
    if not ID_PATTERN.match(f"{pack}/{name}"):
        raise click.UsageError(f"{name!r} is no rule's name; write what is wrong in lower case: hole-too-small")
    stem = name.replace("-", "_")
    path, fixtures = folder / f"{stem}.toml", folder / "fixtures" / stem
    if path.exists() or path.with_suffix(".py").exists() or fixtures.exists():
        raise click.UsageError(f"there is a rule {name} in {folder} already")
    example = PARTS[about]
    try:
        fixtures.mkdir(parents=True)
        if not (folder / "pack.toml").exists():
            title = f"Rules of {pack}"
            (folder / "pack.toml").write_text(_PACK.format(name=quoted(pack), title=quoted(title)), "utf-8")
        path.write_text(rule_text(name, about, example), "utf-8")
        for word, value in (("bad", example.bad), ("good", example.good)):
            (fixtures / f"{word}_{value:g}{example.suffix}").write_bytes(example.make(value))
        (fixtures / "cases.toml").write_text(_cases(example), "utf-8")
    except OSError as error:
        raise click.UsageError(f"{error.filename}: {error.strerror or error}") from None
    click.echo(f"{path} is written; fill it in, then: lintsvc test-rules {folder}")
    return 0


def rule_text(name: str, about: str, example: Example) -> str:
    """Return the text of the rule's file."""
    from lintsvc.rulebook.limit_rules.features import FEATURES

    feature = next(x for x in FEATURES if x.name == about)
    return _RULE.format(
        title=quoted(f"{name.replace('-', ' ').capitalize()}."),
        condition=quoted(f"{about}.{next(iter(feature.attributes))} {example.sign} {example.limit:g} mm"),
        what=f"A {about}",
        better="more" if example.sign == "<" else "less",
        words=", ".join(f"{{{x}}}" for x in feature.attributes),
    )


def _cases(example: Example) -> str:
    stated = f"[{{ measured = {example.bad:g}, limit = {example.limit:g} }}]"
    choices = "".join(f"{key} = {quoted(x) if isinstance(x, str) else x}\n" for key, x in example.choices.items())
    return "\n".join(
        _CASE.format(file=quoted(f"{word}_{value:g}{example.suffix}"), choices=choices, finds=finds)
        for word, value, finds in (("bad", example.bad, stated), ("good", example.good, "[]"))
    )


def _pack_name(folder: Path) -> str:
    import tomllib

    manifest = folder / "pack.toml"
    if manifest.exists():
        try:
            return str(tomllib.loads(manifest.read_text("utf-8"))["name"])
        except (OSError, ValueError, KeyError):
            raise click.UsageError(f"{manifest} cannot be used; it needs name, title and summary") from None
    name = re.sub(r"[^a-z0-9]+", "-", folder.resolve().name.lower()).strip("-")
    if not name:
        raise click.UsageError(f"{folder} has no name that a pack could have")
    return name
