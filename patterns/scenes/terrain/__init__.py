"""A level flight over the country."""
