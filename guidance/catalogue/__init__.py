"""Whose lifts these are: rows read from TOML, checked whole, compiled where they are a network; never changed after.

May: define rows and fields, prove what must hold between them, derive questions and the fault network from them. May
not: conclude anything about one lift. More than a dozen files, since each kind of row and each kind of check has one.
"""
