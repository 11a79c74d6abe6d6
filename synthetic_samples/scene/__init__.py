"""What stands where, and from where it is seen. May not: draw; randomness is an argument."""
