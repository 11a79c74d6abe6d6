"""Rounds of pictures by people who know none of our shapes. May not: fit, choose, keep a picture, or measure twice."""
