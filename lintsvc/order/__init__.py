"""Parts together: fit, hole patterns, stack-up, mass, balance, stiffness, spares."""
