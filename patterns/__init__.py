"""Evenhold: clips that show how evenly a screen holds the frames of a video."""
