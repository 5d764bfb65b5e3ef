"""Bars that slide along a line, in closed form."""
