"""The demo: a stream-level gauge for a hiking club's foot-bridge. Invented; every part is made by code.

`write_demo(folder)` writes each part in a good and in a faulty version. The faults are listed in `FAULTS`.
"""

from lintsvc.demo.write import FAULTS, choices_of, write_demo

__all__ = ["FAULTS", "choices_of", "write_demo"]
