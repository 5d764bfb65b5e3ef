"""What moves: motions, the country, the orbit's surfaces, and their speed in the picture."""
