"""The guiding camera: what it wants next, and what a frame lacks. May not: keep a frame, or know HTTP."""
