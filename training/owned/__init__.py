"""An owner's photos: keeping, teaching, comparing, promoting. May not: send or log a picture, or keep its metadata."""
