"""Frozen data, no I/O: what a part is, what a finding is, what a report is. Lengths are mm."""
