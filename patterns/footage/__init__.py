"""Footage without a strip, measured: rate, conversions, cuts, motion, and what viewers see."""
