"""Cases as lists of events, their photos and their end; what photos may teach lies in `learned`.

May not: change an event; know HTTP.
"""
