"""Finishes, stickers, textures. May not: carry meaning; colours and writing are random."""
