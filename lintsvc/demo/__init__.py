"""The demo: a stream-level gauge for a hiking club's foot-bridge. Invented; every part is made by code.

`write_demo(folder)` writes each part in a good and in a faulty version, and a misfit one whose parts are good by
themselves and do not go together, each with its order. The faults are listed in `FAULTS` and `MISFITS`.
"""

from lintsvc.demo.order import MISFITS
from lintsvc.demo.write import FAULTS, choices_of, write_demo

__all__ = ["FAULTS", "MISFITS", "choices_of", "write_demo"]
