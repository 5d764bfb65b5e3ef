"""The version, for the package's metadata and for what it writes, installed or not."""

VERSION = "0.1.0"
