"""The plan of a shoot: rate, shutter, filter, movement and conform for an audience and a place."""
