"""Stand-in pictures: drawn by another renderer and other geometry than the training renders, and no photographs."""
