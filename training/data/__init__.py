"""Manifests to batches on a device: reading, decoding, windows, augmentation. May not: know a network or a loss."""
