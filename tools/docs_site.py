"""The documents as a site: `make docs` writes it to `build/docs`, to be opened from there or served as files.

The pages of `docs/`, those of `docs/reference/` among them, and one page for every rule with a picture of a bad and
of a good part, drawn from the rule's own fixtures. Nothing in it is fetched from elsewhere. A page that is in no
list, and a link that leads nowhere, end the build.
"""

from __future__ import annotations

import io
import shutil
import sys
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from lintsvc.model.finding import Finding
    from lintsvc.model.part import Part
    from lintsvc.rulebook.check import Result
    from lintsvc.rulebook.fixtures import Case
    from lintsvc.rulebook.packs import Pack
    from lintsvc.rulebook.rule import Rule

ROOT = Path(__file__).resolve().parent.parent
DOCS = ROOT / "docs"
TARGET = ROOT / "build" / "docs"

#: What the site does not show as it lies in docs/: every rule has a page of its own there.
_REPLACED = "reference/rules.md"

_OPTIONS: Mapping[str, object] = {
    "project": "lintsvc",
    "author": "the authors of lintsvc",
    "extensions": ["myst_parser"],
    "html_theme": "alabaster",
    "html_theme_options": {
        "description": "Checks part files before they are sent out to be made.",
        "page_width": "72em",
        "sidebar_width": "18em",
        "fixed_sidebar": True,
        "show_powered_by": False,
    },
    "html_copy_source": False,
    "html_show_copyright": False,
    "myst_heading_anchors": 3,
    "myst_enable_extensions": ["attrs_inline"],
    # `make docs` and a reader of the files in the repository see the same fences.
    "highlight_language": "text",
    "suppress_warnings": ["misc.highlighting_failure"],
}


def build(target: Path) -> None:
    """Write the site. Raises SystemExit naming what is wrong in a page."""
    with tempfile.TemporaryDirectory() as folder:
        source = Path(folder) / "source"
        assemble(source)
        shutil.rmtree(target, ignore_errors=True)
        _sphinx(source, target, Path(folder) / "doctrees")


def _sphinx(source: Path, target: Path, doctrees: Path) -> None:
    from sphinx.application import Sphinx
    from sphinx.errors import SphinxError

    told = io.StringIO()
    try:
        app = Sphinx(
            source, None, target, doctrees, "html", confoverrides=dict(_OPTIONS), status=None, warning=told,
            warningiserror=True,
        )  # fmt: skip
        app.build(force_all=True)
    except SphinxError as error:
        raise SystemExit(f"{error}\n{told.getvalue()}") from None
    if app.statuscode:
        raise SystemExit(told.getvalue())


def assemble(source: Path) -> None:
    """Write the pages that the site is made of into a folder."""
    from lintsvc.rulebook.packs import load_packs

    shutil.copytree(DOCS, source)
    (source / _REPLACED).unlink()
    packs = load_packs(installed=False)
    for pack in packs:
        _pack_page(pack, source / "rules" / pack.name)
        for rule in pack.rules:
            _rule_page(rule, source / "rules" / pack.name)
    names = "\n".join(f"rules/{x.name}/index" for x in packs)
    (source / "reference" / "rules.md").write_text(
        "# Rules\n\nEvery built-in rule has a page, with a picture of a bad and of a good part.\n\n"
        + "\n".join(f"- [{x.title}](../rules/{x.name}/index.md): {x.summary}" for x in packs)
        + f"\n\n```{{toctree}}\n:hidden:\n{_up(names)}\n```\n",
        "utf-8",
    )
    _feature_pictures(source, packs)


def _up(names: str) -> str:
    return "\n".join(f"../{x}" for x in names.splitlines())


def _pack_page(pack: Pack, folder: Path) -> None:
    folder.mkdir(parents=True)
    rows = "\n".join(f"- [`{x.id}`]({_stem(x)}.md): {x.title}" for x in pack.rules)
    names = "\n".join(_stem(x) for x in pack.rules)
    text = f"# {pack.title}\n\n{pack.summary}\n\n{rows}\n\n```{{toctree}}\n:hidden:\n{names}\n```\n"
    (folder / "index.md").write_text(text, "utf-8")


def _rule_page(rule: Rule, folder: Path) -> None:
    from lintsvc.reports.rule_pages import markdown

    text = markdown(rule)
    pictures = list(_pictures(rule))
    for word, svg, caption in pictures:
        name = f"{_stem(rule)}_{word}.svg"
        (folder / name).write_text(svg, "utf-8")
        text += f"\n## A {word} part\n\n{caption}\n\n![A {word} part]({name})\n"
    (folder / f"{_stem(rule)}.md").write_text(text, "utf-8")


def _pictures(rule: Rule) -> Iterator[tuple[str, str, str]]:
    """Yield bad or good, the picture as SVG, and what it shows."""
    from lintsvc.reports.tables import markdown_text
    from lintsvc.rulebook.fixtures import cases_of

    cases = cases_of(rule)
    for word, good in (("bad", False), ("good", True)):
        for case in (x for x in cases if x.good == good):
            drawn = _drawn(rule, case)
            if drawn is not None:
                svg, findings = drawn
                said = " ".join(x.message for x in findings[:3]) if findings else "Just on the right side: no finding."
                yield word, svg, f"`{case.file.name}`. {markdown_text(said)}"
                break


def _drawn(rule: Rule, case: Case) -> tuple[str, tuple[Finding, ...]] | None:
    """Return the picture of a fixture and what the rule finds on it; None for one without geometry."""
    from lintsvc.reports.picture import picture_sketch
    from lintsvc.reports.sketch import to_svg
    from lintsvc.rulebook.check import check_file

    if "order" in rule.kinds:
        return _drawn_of_order(rule, case)
    result = check_file(case.file, case.choices, [rule])
    if result.checked is None:
        return None
    sketch = picture_sketch(result.checked.part, result.report.findings)
    return None if sketch is None else (to_svg(sketch), result.report.findings)


def _drawn_of_order(rule: Rule, case: Case) -> tuple[str, tuple[Finding, ...]] | None:
    """Return a picture of the part that the first finding is about, in whose frame its place is; else of the first."""
    from lintsvc.order.check import check_order
    from lintsvc.order.load import load_here
    from lintsvc.reports.picture import picture_sketch
    from lintsvc.reports.sketch import to_svg

    parts: dict[str, Part] = {}

    def keep(id: str, result: Result) -> None:
        if result.checked is not None:
            parts[id] = result.checked.part

    findings = check_order(load_here(case.file, on_part=keep), [rule]).findings
    about = next((x.parts[0] for x in findings if x.parts and x.parts[0] in parts), None)
    marked = [x for x in findings if about is not None and x.parts and x.parts[0] == about]
    shown = parts.get(about) if about is not None else next(iter(parts.values()), None)
    sketch = None if shown is None else picture_sketch(shown, marked)
    return None if sketch is None else (to_svg(sketch), findings)


def _stem(rule: Rule) -> str:
    return rule.id.partition("/")[2]


# ---------------------------------------------------------------------- features

#: A rule whose bad part shows the feature.
SHOWN_BY: Mapping[str, str] = {
    "hole": "sheet/hole-too-small",
    "slot": "sheet/slot-too-narrow",
    "web": "sheet/web-too-thin",
    "neck": "sheet/narrow-neck",
    "corner": "sheet/sharp-inside-corner",
    "bend": "bend/flange-too-short",
    "flange": "bend/flange-too-short",
    "wall": "powder-bed/thin-wall",
    "pin": "powder-bed/thin-pin",
    "gap": "powder-bed/narrow-gap",
    "bore": "powder-bed/small-hole",
    "void": "powder-bed/trapped-powder",
    "section": "powder-bed/thick-section",
}


def _feature_pictures(source: Path, packs: Sequence[Pack]) -> None:
    """Add to the page of conditions what each feature looks like."""
    path = source / "reference" / "conditions.md"
    text = path.read_text("utf-8")
    for name, svg in feature_pictures(packs):
        (path.parent / f"feature_{name}.svg").write_text(svg, "utf-8")
        head = f"### {name}\n"
        assert head in text, name
        text = text.replace(head, f"{head}![what a {name} is](feature_{name}.svg)\n\n", 1)
    path.write_text(text, "utf-8")


def feature_pictures(packs: Sequence[Pack]) -> Iterator[tuple[str, str]]:
    """Yield each feature of limit rules, and a picture of a part with such features marked."""
    from lintsvc.rulebook.fixtures import cases_of
    from lintsvc.rulebook.limit_rules.features import FEATURES

    rules = {x.id: x for pack in packs for x in pack.rules}
    for feature in FEATURES:
        rule = rules[SHOWN_BY[feature.name]]
        svg = next((y for x in cases_of(rule) if (y := _marked(x, feature.name)) is not None), None)
        assert svg is not None, f"no part of {rule.id} has a {feature.name}"
        yield feature.name, svg


def _marked(case: Case, name: str) -> str | None:
    from lintsvc.model.finding import Finding
    from lintsvc.reports.picture import picture_sketch
    from lintsvc.reports.sketch import to_svg
    from lintsvc.rulebook.check import checked_again
    from lintsvc.rulebook.limit_rules.features import FEATURES

    (feature,) = (x for x in FEATURES if x.name == name)
    part = checked_again(case.file, case.choices, case.file.name, "")
    limit = {"below": 5.0, "above": 0.5, "": 0.0}[feature.within]
    found = list(feature.find(part, limit))[:3]
    if not found:
        return None
    marks = [Finding("", name, "note", 0.0, feature.what, None, None, feature.where(part, x), "") for x in found]
    sketch = picture_sketch(part.part, marks)
    return None if sketch is None else to_svg(sketch)


if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).parent))
    where = Path(sys.argv[1]) if len(sys.argv) > 1 else TARGET
    build(where)
    print(f"{where / 'index.html'} is written")
