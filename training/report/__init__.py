"""One HTML page of figures for a sceptic, needing nothing from outside. May not: fit, choose or fetch anything."""
