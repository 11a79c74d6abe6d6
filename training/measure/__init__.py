"""Running served networks over a split, and what a share or a distance is. May not: fit anything, or import torch."""
