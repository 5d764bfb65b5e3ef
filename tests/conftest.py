"""All tests run as the command does: with one thread of the matrix library."""

from patterns.__main__ import settle

settle()  # before numpy is loaded
