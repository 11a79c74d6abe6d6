"""Battery readings to a verdict on pack and block: physics with the source of every number.

May: judge readings and name what contradicts. May not: know the catalogue, the case or which step comes next.
"""
