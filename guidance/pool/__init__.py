"""The lifts of one owner together: how many of what there are, which to look at next, which a recall may concern.

May: count, give intervals, put lifts in an order. May not: see a photo, decide what one lift is, or name a part for it.
"""
