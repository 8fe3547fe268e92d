"""numba without the libraries that it looks for and that no kernel here needs.

When it is there, numba imports SciPy's linear algebra (to call BLAS from kernels), cffi (to call C functions from
kernels) and a YAML reader (for a settings file). Together they are a quarter of the time of checking a small file, and
the kernels of this project are plain loops. Hidden while numba loads, they are free to be imported afterwards.
Nor is what every installed package says of itself read, to find extensions of numba.
Import this module before numba; a process that has numba already keeps what it has.
"""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from importlib import import_module

_NOT_NEEDED = ("scipy", "cffi", "yaml")
#: The modules of numba that look for them.
_LOOKING = ("numba", "numba.np.arraymath", "numba.core.typing.cffi_utils")


@contextmanager
def _hidden(names: tuple[str, ...]) -> Iterator[None]:
    """Let the import of these fail, of those that nobody has imported."""
    hidden = [x for x in names if x not in sys.modules]
    sys.modules.update(dict.fromkeys(hidden))  # type: ignore[arg-type]  # None is how an import is refused
    try:
        yield
    finally:
        for name in hidden:
            del sys.modules[name]


if "numba" not in sys.modules:
    with _hidden(_NOT_NEEDED):
        for _name in _LOOKING:
            import_module(_name)
    import_module("numba.core.entrypoints")._already_initialized = True  # type: ignore[attr-defined]
