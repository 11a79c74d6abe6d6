"""The model card, and an evaluation as a row of the experiments. May not: hold a figure that no run holds."""
