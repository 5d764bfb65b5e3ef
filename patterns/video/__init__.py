"""From a scene to planes of bytes: linear light, the shutter's box, ray maps."""
