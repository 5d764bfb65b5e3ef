"""The `evenhold` command."""
