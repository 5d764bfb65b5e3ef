"""What moves: each pattern in a folder, with its surfaces and renderer; image speed."""
