"""Concept values become geometry: control boxes, actuators, hand controls, chargers and the lift that carries them.

May not: know a scene, a camera or a label.
"""
