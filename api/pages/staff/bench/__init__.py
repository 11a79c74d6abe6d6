"""What a technician adds to a case: photos, readings, the plate, an order, a sheet. May not: decide what fits."""
