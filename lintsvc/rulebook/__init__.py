"""What a rule may import. Rule files import from here and from the standard library, nothing else.

A rule is a function under the `rule` decorator. It takes `part` (a `Checked`), and by name
what else it wants: `limit` (the resolved number of the limit called "limit") or `limits`
(all resolved limits by name). It yields a `Hit` for each thing that is wrong, and raises
`CannotCheck` when something it needs is not known.
"""

from lintsvc.model.finding import Where
from lintsvc.model.limit import Limit
from lintsvc.model.source import COMMON_PRACTICE, FROM_MEMORY, GEOMETRY, Source
from lintsvc.rulebook.alike import patterns, where_of_all
from lintsvc.rulebook.checked import Checked
from lintsvc.rulebook.handbook_limits import bend_radius_limits
from lintsvc.rulebook.places import where_of_bend, where_of_spot
from lintsvc.rulebook.rule import CannotCheck, Hit, Limits, Rule, rule

__all__ = [
    "COMMON_PRACTICE",
    "FROM_MEMORY",
    "GEOMETRY",
    "CannotCheck",
    "Checked",
    "Hit",
    "Limit",
    "Limits",
    "Rule",
    "Source",
    "Where",
    "bend_radius_limits",
    "patterns",
    "rule",
    "where_of_all",
    "where_of_bend",
    "where_of_spot",
]
