"""A heap of photos → what each lift is, on one machine or many. Start at `run.py`.

Photos are listed (`source`, `plan`), read piece by piece (`pieces`, `worker`), put together into lifts (`grouping`),
answered (`views`, `lifts`) and told (`result`, `report`). May not: answer otherwise than `api/identification.py`, hold
all photos in memory, or drop one without a word.
"""
