"""Builders that tests of several rooms share. May not hold a test; no package imports it."""
