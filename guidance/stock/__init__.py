"""Which spares to keep for a pool: what is asked of each part, how many lie on the shelf, what one more would buy.

May: reckon demand, levels and costs, and draw them. May not: read a pool, learn a rate, or decide which part fits.
"""
