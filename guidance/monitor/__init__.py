"""How right answers were, by what people confirmed, and when a component may no longer be confirmed.

May: count, give intervals, raise an alarm. May not: see a case, a photo or who confirmed it; decide an answer.
"""
