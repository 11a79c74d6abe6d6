"""Walks round a pool: which photos of each lift are wanted, which are there, what they prove. May not: know HTTP."""
