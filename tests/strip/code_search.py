"""Finds the check columns of the number code again: `python -m tests.strip.code_search`."""

from __future__ import annotations

import random

CHECK_BITS, COLUMNS, FARTHEST = 12, 16, 8
WEIGHTS = (5, 7)


def differences(gap: int) -> set[tuple[int, ...]]:
    """Sets of Gray cells in which some n and n + gap differ, for all 16-bit n."""
    codes = [n ^ (n >> 1) for n in range(1 << COLUMNS)]
    words = {a ^ b for a, b in zip(codes, codes[gap:], strict=False)}
    return {tuple(k for k in range(COLUMNS) if word >> k & 1) for word in words}


def _split_in_two_overlap(cells: tuple[int, ...], columns: list[int]) -> bool:
    """Whether the syndromes of every two parts of `cells` share a check cell."""
    whole = 0
    for k in cells:
        whole ^= columns[k]
    for chosen in range(1, (1 << len(cells)) - 1):
        part = 0
        for i, k in enumerate(cells):
            part ^= columns[k] if chosen >> i & 1 else 0
        if not part & (whole ^ part):
            return False
    return True


def _keeps_distance(candidate: int, columns: list[int]) -> bool:
    """Whether the code's words still differ in six cells, and no column covers another."""
    pairs = {a ^ b for i, a in enumerate(columns) for b in columns[:i]}
    return (
        all((candidate ^ a).bit_count() >= 4 for a in columns)
        and all((candidate ^ p).bit_count() >= 3 for p in pairs)
        and all(candidate ^ a not in pairs for a in columns)
        and all(candidate & ~a and a & ~candidate for a in columns)
    )


def search(seed: int = 0) -> list[int]:
    """Columns found by trying all words of weight 5 and 7 in the order that `seed` shuffles."""
    by_last: dict[int, list[tuple[int, ...]]] = {k: [] for k in range(COLUMNS)}
    for gap in range(2, FARTHEST + 1):
        for cells in sorted(differences(gap)):
            by_last[max(cells)].append(cells)
    words = [v for v in range(1 << CHECK_BITS) if v.bit_count() in WEIGHTS]
    random.Random(seed).shuffle(words)
    columns: list[int] = []
    for word in words:
        if len(columns) < COLUMNS and _keeps_distance(word, columns):
            grown = [*columns, word]
            if all(_split_in_two_overlap(cells, grown) for cells in by_last[len(columns)]):
                columns = grown
    return columns


if __name__ == "__main__":
    print(", ".join(f"0x{column:03X}" for column in search()))  # noqa: T201
