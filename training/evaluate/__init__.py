"""Figures of held-out pictures, through the code that serves. May not: fit or choose anything."""
