"""Learning by steps from own photos: replay set, recalibration, heads, shadow. May not: load torch, or draw renders."""
