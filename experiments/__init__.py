"""What was tried, as data: every run with its parents, its pictures, its figures, and what was decided.

May happen here: reading, checking and drawing `runs.jsonl`. May not: training, measuring, importing any other package.
"""
