"""The handbook: threads, holes, gauges, materials, bending, tolerances; each row with its source."""
