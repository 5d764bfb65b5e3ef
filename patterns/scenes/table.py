"""The patterns by name. Whatever differs from one to the other is asked of its entry."""

from __future__ import annotations

from patterns.errors import RequestError
from patterns.scenes.bars.pattern import BARS
from patterns.scenes.orbit.pattern import ORBIT
from patterns.scenes.pattern import Pattern
from patterns.scenes.terrain.pattern import TERRAIN

PATTERNS: dict[str, Pattern] = {p.name: p for p in (BARS, TERRAIN, ORBIT)}


def register(pattern: Pattern) -> None:
    """Add a pattern to those that commands offer, in this process."""
    PATTERNS[pattern.name] = pattern


def pattern_named(name: str) -> Pattern:
    """Entry of a pattern.

    Raises `RequestError`: there is none of that name.
    """
    if name not in PATTERNS:
        raise RequestError(f"pattern {name!r} is unknown: allowed are {', '.join(PATTERNS)}")
    return PATTERNS[name]
