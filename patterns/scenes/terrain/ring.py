"""Which chunks of ground a level of the terrain holds: a ring of slots that slides with it."""

from __future__ import annotations

from abc import ABC, abstractmethod

__all__ = ["Ring"]


class Ring(ABC):
    """Chunks in memory, each in the slot of its number, less whole rings.

    Parameters
    ----------
    slots
        How many chunks there is room for.
    """

    def __init__(self, slots: int) -> None:
        self.slots = slots
        self._held: list[int | None] = [None] * slots

    @abstractmethod
    def chunks(self, travel_m: float) -> range:
        """Chunks that a frame needs when the camera has come `travel_m`."""

    def ensure(self, travel_m: float) -> None:
        """Make the chunks that a frame needs and that are not in memory."""
        for chunk in self.chunks(travel_m):
            if not self.holds(chunk):
                self.paint(chunk)

    def holds(self, chunk: int) -> bool:
        """Whether a chunk is in memory."""
        return self._held[chunk % self.slots] == chunk

    def release(self, chunk: int) -> None:
        """Hold no more what lies where a chunk is to be written."""
        self._held[chunk % self.slots] = None

    def paint(self, chunk: int) -> None:
        """Make a chunk; one that was interrupted is not held."""
        self.release(chunk)
        self._paint(chunk)
        self._held[chunk % self.slots] = chunk

    @abstractmethod
    def _paint(self, chunk: int) -> None:
        """Write a chunk into its slot."""
