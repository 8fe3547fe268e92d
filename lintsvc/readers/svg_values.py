"""SVG's little languages: lengths, transforms, colours, style sheets."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, field

from lintsvc.readers.flat_affine import IDENTITY, Affine
from lintsvc.readers.svg_xml import Node

NUMBER = re.compile(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?")
_LENGTH = re.compile(r"\s*([+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*([a-zA-Z]*|%)\s*")
#: CSS Values and Units 3, absolute lengths: 96 px to the inch. em and ex with the default font of 16 px.
PX = {
    "": 1.0, "px": 1.0, "in": 96.0, "cm": 96 / 2.54, "mm": 96 / 25.4, "q": 96 / 101.6, "pt": 96 / 72, "pc": 16.0,
    "em": 16.0, "ex": 8.0,
}  # fmt: skip
PHYSICAL = frozenset({"in", "cm", "mm", "q", "pt", "pc"})

_TRANSFORM = re.compile(r"(matrix|translate|scale|rotate|skewX|skewY)\s*\(([^()]*)\)")
_NAMED = {
    "black": "#000000", "white": "#ffffff", "red": "#ff0000", "lime": "#00ff00", "blue": "#0000ff",
    "yellow": "#ffff00", "cyan": "#00ffff", "aqua": "#00ffff", "magenta": "#ff00ff", "fuchsia": "#ff00ff",
    "green": "#008000", "gray": "#808080", "grey": "#808080", "silver": "#c0c0c0", "maroon": "#800000",
    "navy": "#000080", "olive": "#808000", "purple": "#800080", "teal": "#008080", "orange": "#ffa500",
}  # fmt: skip


def length_of(text: str) -> tuple[float, str] | None:
    """Return number and unit (lower case; `%` for per cent) of a length; None for anything else."""
    found = _LENGTH.fullmatch(text)
    if found is None:
        return None
    value, unit = float(found.group(1)), found.group(2).lower()
    return (value, unit) if math.isfinite(value) and (unit in PX or unit == "%") else None


def user_length(text: str, whole: float, default: float = 0.0) -> float:
    """Return a length in user units, per cent taken of `whole`; `default` where it is absent or no length."""
    found = length_of(text) if text else None
    if found is None:
        return default
    value, unit = found
    return value * whole / 100 if unit == "%" else value * PX[unit]


def numbers_of(text: str) -> list[float]:
    """Return all numbers of a list; infinite ones as they are."""
    return [float(x) for x in NUMBER.findall(text)]


def transform_of(text: str) -> Affine | None:
    """Return the map of a `transform` list; None where it is no such list."""
    place = IDENTITY
    if not text or text == "none":
        return place
    for name, values in _TRANSFORM.findall(text):
        numbers = numbers_of(values)
        step = _step(name, numbers) if all(map(math.isfinite, numbers)) else None
        if step is None:
            return None
        place = place.of(step)
    return None if _TRANSFORM.sub("", text).strip(" ,\t\r\n") else place


def _step(name: str, v: list[float]) -> Affine | None:
    if name == "matrix" and len(v) == 6:
        return Affine(*v)
    if name == "translate" and len(v) in (1, 2):
        return Affine(e=v[0], f=v[1] if len(v) == 2 else 0.0)
    if name == "scale" and len(v) in (1, 2):
        return Affine(a=v[0], d=v[-1])
    if name == "rotate" and len(v) in (1, 3):
        c, s = math.cos(math.radians(v[0])), math.sin(math.radians(v[0]))
        turn = Affine(c, s, -s, c)
        return turn if len(v) == 1 else Affine(e=v[1], f=v[2]).of(turn).of(Affine(e=-v[1], f=-v[2]))
    if name in ("skewX", "skewY") and len(v) == 1:
        lean = math.tan(math.radians(v[0]))
        return Affine(c=lean) if name == "skewX" else Affine(b=lean)
    return None


def colour_of(text: str) -> str:
    """Return a colour as `#rrggbb`; empty where it is none or not known."""
    text = text.strip().lower()
    if re.fullmatch(r"#[0-9a-f]{6}", text):
        return text
    if re.fullmatch(r"#[0-9a-f]{3}", text):
        return "#" + "".join(2 * c for c in text[1:])
    found = re.fullmatch(r"rgb\(\s*([\d.]+%?)[\s,]+([\d.]+%?)[\s,]+([\d.]+%?)\s*\)", text)
    if found:
        parts = [float(x[:-1].rstrip(".") or 0) * 2.55 if x.endswith("%") else _float(x) for x in found.groups()]
        return "#" + "".join(f"{min(255, round(x)):02x}" for x in parts)
    return _NAMED.get(text, "")


def _float(text: str) -> float:
    try:
        return float(text)
    except ValueError:
        return 0.0


#: The properties that decide what a line is for.
PROPERTIES = frozenset({"stroke", "fill", "display", "visibility", "opacity", "stroke-dasharray", "clip-path", "mask"})
_RULE = re.compile(r"([^{}]+)\{([^{}]*)\}")
_MOST_RULES = 5000


@dataclass
class StyleSheet:
    """Rules with simple selectors (element, .class, #id, element.class); others are left aside."""

    by_selector: dict[str, dict[str, str]] = field(default_factory=dict)

    def take(self, css: str) -> None:
        """Add the rules of a style element. Nothing is imported."""
        css = re.sub(r"/\*.*?\*/", "", css, flags=re.DOTALL)
        css = re.sub(r"@import[^;]*;|<!--|-->", "", css)
        for selectors, body in _RULE.findall(css):
            declared = declarations(body)
            for selector in selectors.split(","):
                if declared and len(self.by_selector) < _MOST_RULES:
                    self.by_selector.setdefault(selector.strip(), {}).update(declared)

    def of(self, node: Node) -> dict[str, str]:
        """Return the properties of an element, its attributes first, then rules, then its own style."""
        found = {k: v for k, v in node.attributes.items() if k in PROPERTIES}
        if self.by_selector:
            classes = node.get("class").split()
            wanted = ["*", node.tag, *(f".{x}" for x in classes), *(f"{node.tag}.{x}" for x in classes)]
            for selector in (*wanted, f"#{node.get('id')}"):
                found.update(self.by_selector.get(selector, {}))
        style = node.attributes.get("style")
        if style:
            found.update(declarations(style))
        return found


def declarations(text: str) -> dict[str, str]:
    """Return the properties of a style attribute that matter here."""
    found: dict[str, str] = {}
    for declaration in text.split(";"):
        name, colon, value = declaration.partition(":")
        name = name.strip().lower()
        if colon and name in PROPERTIES:
            found[name] = value.replace("!important", "").strip()
    return found
