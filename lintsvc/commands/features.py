"""`lintsvc features`."""

from __future__ import annotations

import click


@click.command()
def features() -> None:
    """List what the conditions of limit rules may speak of: features, their values, look-ups, units."""
    from lintsvc.reports.tables import text_table
    from lintsvc.rulebook.limit_rules.features import FEATURES, FUNCTIONS, SINGLES
    from lintsvc.rulebook.limit_rules.kinds import UNITS

    for title, things in (("a part has many of", FEATURES), ("a part has one of", SINGLES)):
        rows = [("name", "is", title)]
        for thing in things:
            rows.append((thing.name, "", thing.what))
            rows += [(f"  {thing.name}.{key}", x.kind.name, x.what) for key, x in thing.attributes.items()]
        click.echo("\n".join(text_table(rows)) + "\n")
    rows = [("look-up", "gives", "example")]
    rows += [(f"{name}()", x.gives.name, x.what) for name, x in FUNCTIONS.items()]
    rows += [("min(), max()", "like its values", "max(3 mm, 1.2 * sheet.thickness)")]
    click.echo("\n".join(text_table(rows)) + "\n")
    click.echo(f"units: {', '.join(UNITS)}")
