"""A photo to what it shows, and how sure that is. Start at `identify.py`.

May happen here: decoding, running the two networks, calibration, the one acceptance rule, the recipe of the weights.
May not: anything that knows a catalogue, a case or HTTP; torch; drawing or training.
"""
