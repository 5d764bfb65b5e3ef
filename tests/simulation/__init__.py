"""A simulated screen and camera whose truth is known, to measure the reader against."""
