"""The reference page of the handbook: every table, every row with its source."""

from __future__ import annotations

from collections.abc import Sequence


def handbook() -> str:
    """Return the page."""
    text = (
        "# Handbook\n\nWhat the checks look up, each value with its source. Kinds of source: a standard, a handbook, "
        "common practice in the trade (no source), memory, or the shop's own. Values are for a first choice; where a "
        "part carries load or heat, the material's own certificate and licensed practice decide.\n\n"
    )
    parts = (_materials, _threads, _clearance, _countersinks, _gauges, _bending, _kerfs, _tolerances)
    return text + "".join(part() for part in parts)


def _table(title: str, words: str, rows: Sequence[Sequence[str]]) -> str:
    from lintsvc.reports.tables import markdown_table

    return f"## {title}\n\n{words}\n\n{markdown_table(rows)}\n\n"


def _materials() -> str:
    from lintsvc.handbook.materials import materials
    from lintsvc.model.material import Value
    from lintsvc.model.source import Source
    from lintsvc.reports.tables import markdown_table
    from lintsvc.reports.words import source_text
    from lintsvc.rulebook.wording import number

    def value(x: Value | None, unit: str) -> str:
        return "not known" if x is None else f"{number(x.value)} {unit} ({source_text(x.source)})"

    def said(x: Source | None) -> str:
        return "" if x is None else f" ({source_text(x)})"

    text = "## Materials\n\n"
    for x in materials():
        stock = [f"{number(mm)} mm" for mm in x.stock_mm] + [f"{number(inch)} in" for inch in x.stock_in]
        laser = x.laser + (f": {x.laser_why}" if x.laser_why else "")
        rows = [
            ("value", "is"),
            ("family", x.family),
            ("processes", ", ".join(x.processes)),
            ("good for", x.good_for),
            ("density", value(x.density_kg_m3, "kg/m³")),
            ("Young's modulus", value(x.youngs_modulus_gpa, "GPa")),
            ("yield", value(x.yield_mpa, "MPa")),
            ("ultimate strength", value(x.ultimate_mpa, "MPa")),
            ("stock", (", ".join(stock) or "—") + said(x.stock_source)),
            ("cut by laser", laser + said(x.laser_source)),
            ("bent cold", "yes" if x.bendable else "no"),
        ]
        text += f"### {x.id}\n\n{x.name}.\n\n{markdown_table(rows)}\n\n"
    return text


def _threads() -> str:
    from lintsvc.handbook.threads import threads
    from lintsvc.reports.words import source_text
    from lintsvc.rulebook.wording import number

    rows = [("thread", "series", "diameter, mm", "pitch, mm", "tap drill, mm", "drill", "source of drill", "source")]
    rows += [
        (x.name, x.series, number(x.diameter_mm), number(x.pitch_mm), number(x.tap_drill.value), x.tap_drill_name,
         source_text(x.tap_drill.source), source_text(x.source))
        for x in threads()
    ]  # fmt: skip
    return _table("Threads", "The hole that a thread is tapped in.", rows)


def _clearance() -> str:
    from lintsvc.handbook.clearance import clearance_tables
    from lintsvc.reports.words import source_text
    from lintsvc.rulebook.wording import number

    rows = [("screw", "close, mm", "normal, mm", "loose, mm", "source")]
    rows += [
        (x.screw, *(number(y.value) for y in (x.close, x.normal, x.loose)), source_text(x.normal.source))
        for x in clearance_tables()
    ]
    return _table("Clearance holes", "The hole that a screw passes through.", rows)


def _countersinks() -> str:
    from lintsvc.handbook.countersinks import countersinks
    from lintsvc.reports.words import source_text
    from lintsvc.rulebook.wording import number

    rows = [("screw", "head", "angle", "across the sharp corner, mm", "height of the head, mm", "source")]
    rows += [
        (x.screw, x.head, f"{number(x.angle_deg)}°", number(x.head_mm),
         "—" if x.height_mm is None else number(x.height_mm), source_text(x.source))
        for x in countersinks()
    ]  # fmt: skip
    return _table("Countersinks", "What a countersink must take for a flush head.", rows)


def _gauges() -> str:
    from lintsvc.handbook.gauges import gauge_thickness, gauges
    from lintsvc.reports.words import source_text
    from lintsvc.rulebook.wording import number

    metals = ("stainless", "steel", "aluminium")
    rows = [("gauge", *(f"{x}, mm" for x in metals))]
    rows += [(str(x), *(number(gauge_thickness(x, metal).value) for metal in metals)) for x in gauges()]  # type: ignore[arg-type]
    source = source_text(gauge_thickness(16, "steel").source)
    return _table("Sheet gauges", f"One number is another thickness for every metal. Source: {source}", rows)


def _bending() -> str:
    from lintsvc.handbook.bending import bend_radius_rows
    from lintsvc.reports.words import source_text
    from lintsvc.rulebook.wording import number

    rows = [("material", "up to, mm thick", "least inside radius", "source")]
    rows += [
        (x.material, "any" if x.up_to_mm == float("inf") else number(x.up_to_mm),
         f"{number(x.radius_per_thickness)} × thickness", source_text(x.source))
        for x in bend_radius_rows()
    ]  # fmt: skip
    return _table("Bend radii", "The least inside radius that a sheet takes without cracking.", rows)


def _kerfs() -> str:
    from lintsvc.handbook.laser import kerf
    from lintsvc.handbook.materials import materials
    from lintsvc.reports.words import source_text
    from lintsvc.rulebook.wording import number

    rows = [("family", "1 mm thick", "3 mm thick", "10 mm thick", "source")]
    seen: set[str] = set()
    for x in materials():
        if "sheet" in x.processes and x.laser == "yes" and x.family not in seen:
            seen.add(x.family)
            found = [kerf(x, t) for t in (1.0, 3.0, 10.0)]
            widths = [f"{number(k.least.value)} to {number(k.most.value)} mm" for k in found]
            rows.append((x.family, *widths, source_text(found[0].least.source)))
    return _table("Kerf", "What a laser beam takes away.", rows)


def _tolerances() -> str:
    from lintsvc.handbook.finishes import FINISHES
    from lintsvc.handbook.tables import rows as raw
    from lintsvc.handbook.tolerances import general_tolerance, it_grade
    from lintsvc.reports.words import source_text
    from lintsvc.rulebook.wording import number

    general = [("of", "over, mm", "to, mm", "fine", "medium", "coarse", "very coarse")]
    general += [
        (x["what"], x["over_mm"], x["to_mm"] or "—", *(f"± {x[y]} {x['unit']}" if x[y] else "—" for y in "fmcv"))
        for x in raw("general_tolerances.csv")
    ]
    grades = [("over, mm", "to, mm", *(f"IT{x}, µm" for x in range(5, 12)))]
    grades += [(x["over_mm"], x["to_mm"], *(x[f"IT{y}"] for y in range(5, 12))) for x in raw("it_grades.csv")]
    finishes = [("finish", "least, mm a face", "most, mm a face", "source")]
    finishes += [(x.name, number(x.least_mm), number(x.most_mm), source_text(x.source)) for x in FINISHES.values()]
    return (
        _table("General tolerances", f"Source: {source_text(general_tolerance(10.0).source)}", general)
        + _table("Tolerance grades", f"Source: {source_text(it_grade(10.0, 7).source)}", grades)
        + _table("Finishes", "What a finish adds to each face.", finishes)
    )
