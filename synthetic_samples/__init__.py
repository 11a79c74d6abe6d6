"""Scenes to labelled pictures; start at `generate.py`. docs/rendering.md tells the way.

May happen here: geometry, materials, light, phones, rendering, labels measured on object masks. May not: import more of
`classifier` than the taxonomy, or anything of `training`.
"""
