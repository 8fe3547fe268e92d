"""lintsvc checks part files before they are sent out to be made."""

__version__ = "0.1.0"
