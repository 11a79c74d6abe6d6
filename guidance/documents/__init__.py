"""The documents that come in and go out, and their fields: what scripts rely on.

May: name fields, their types and what makes one malformed. May not: compute what they hold.
"""
