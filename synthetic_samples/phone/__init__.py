"""The phone's camera: exposure, noise, sharpening, JPEG. May not: know what the picture shows."""
