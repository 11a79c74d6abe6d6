"""What every request passes: rights, addresses, slow bodies, figures, traces. May not: know a page or a case."""
