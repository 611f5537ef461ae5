"""Types, registry, inputs, solver, display units and working of the figures."""
