"""Which spare part fits this lift, which does not, and which is not sure yet.

May: compare parts with what is confirmed. May not: give a number for a component that is not.
"""
