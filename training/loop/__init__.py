"""What a step of training is: batches, losses, schedule, devices, un-fused norms. May not: calibrate or measure."""
