"""A Bayesian network of three layers and its exact inference: numbers and names alone.

May: check a network, compile it, compute posteriors. May not: know what a lift, a fault or a catalogue is.
"""
