"""What is said first, in which order, and who may do what; the way down of an occupied sling.

May: choose and order sentences by what is known of the case. May not: see a probability, or say a mechanism's action
unless it is handed one that is confirmed.
"""
