"""Flat scenes to pixels and part maps; the only home of the renderer. May not: decide what stands in a scene."""
