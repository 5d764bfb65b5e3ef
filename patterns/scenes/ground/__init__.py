"""Synthetic country: what flight and orbit both look at."""
