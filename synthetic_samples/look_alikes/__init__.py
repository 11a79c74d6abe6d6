"""Things that must not be taken for a part. May not: have a feature that would make one a true subject."""
