"""The version, for the package's metadata and for what it writes, installed or not."""

__all__ = ["VERSION"]

VERSION = "0.1.0"
