"""The code on a rating plate: found in a photo, read as fields. May not: guess a digit."""
