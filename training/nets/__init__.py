"""The two networks, their checkpoints and their export to ONNX. May not: know pictures on disk or a schedule."""
