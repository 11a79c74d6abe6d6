"""Many pieces of work on several processes, or on the machines of a Ray cluster. Start at `places.py`.

May happen here: starting workers, handing out pieces, repeating those of a lost worker. May not: know what a piece is.
"""
