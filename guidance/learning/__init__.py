"""What closed cases make of the catalogue's rates.

May: read cases, estimate rates, give a catalogue with other rates. May not: change a catalogue in place, or see a case
that is open.
"""
