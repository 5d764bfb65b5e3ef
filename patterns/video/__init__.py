"""Writing, reading and probing video files."""
