"""Rates, shutters, cadence, light and exposure: exact arithmetic, no arrays."""
