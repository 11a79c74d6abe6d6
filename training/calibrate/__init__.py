"""Fitting the recipe on the calibration split, checkpoint averaging included. May not: see a held-out picture."""
