"""Photos that may be learned from: consent, what people say that they show, and their export.

May: read a case's events and keep what outlives it. May not: ask anybody; know HTTP; know how a model learns.
"""
