"""Voting over many pictures: the identity, and whether a number fits the ones before."""

from __future__ import annotations

import numpy as np

from patterns.picture.arrays import FloatArray
from patterns.strip.identity import IDENTITY_CELLS, Identity, read_identity

__all__ = ["IdentityVote", "NumberGate"]

FORGET = 0.97  # of the votes stays with each picture
LEAST_VOTES = 2.0
LEAST_LEAN = 0.12  # mean distance of the least sure cell from the middle
MOST_CONTRADICTIONS = 24
STEP = 6  # frames by which a number may go on at once without being confirmed
BACK = 1  # and back: a mixture reported late


class IdentityVote:
    """Sums the identity cells of pictures until their check agrees twice over."""

    def __init__(self) -> None:
        self._start()

    def _start(self) -> None:
        self.identity: Identity | None = None
        self._sum: FloatArray = np.zeros(IDENTITY_CELLS)
        self._votes = 0.0
        self._contradictions = 0

    def add(self, levels: FloatArray) -> None:
        """Take the identity cells' light levels of one picture, (64,)."""
        if self.identity is not None or np.isnan(levels).any():
            return
        self._sum = self._sum * FORGET + np.clip(levels - 0.45, -0.5, 0.5)
        self._votes = self._votes * FORGET + 1
        if self._votes < LEAST_VOTES - 0.1:
            return
        if np.abs(self._sum).min() >= LEAST_LEAN * self._votes:
            self.identity = read_identity(self._sum > 0)

    def contradict(self, yes: bool) -> None:
        """Tell whether a picture spoke against the identity; many in a row end it."""
        self._contradictions = self._contradictions + 1 if yes else 0
        if self._contradictions >= MOST_CONTRADICTIONS:
            self._start()


class NumberGate:
    """Lets a number pass that goes on from the last one, or that a second picture confirms.

    `last` is the last number that passed.
    """

    def __init__(self) -> None:
        self.last: int | None = None
        self._since = 0
        self._waiting: int | None = None
        self._waited = 0

    def skip(self) -> None:
        """Count a picture that was not read."""
        self._since += 1
        self._waited += 1

    def passes(self, number: int, sure: bool) -> bool:
        """Whether `number` may be reported; `sure` lets the first one pass at once.

        A picture whose number does not pass is one that was not read: `skip` counts it.
        """
        goes_on = self.last is not None and -BACK <= number - self.last <= STEP + self._since
        confirmed = (
            self._waiting is not None and -BACK <= number - self._waiting <= STEP + self._waited
        )
        if goes_on or confirmed or (self.last is None and sure):
            self.last, self._since, self._waiting = number, 0, None
            return True
        self._waiting, self._waited = number, 0
        return False
