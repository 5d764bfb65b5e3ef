"""A QR code for the terminal, dark on light whatever the terminal's own colours."""

from __future__ import annotations

import segno

__all__ = ["qr_text"]

_QUIET = 4  # modules of margin that ISO/IEC 18004 asks for
_DARK, _LIGHT, _RESET = "\x1b[40m", "\x1b[107m", "\x1b[0m"
_HALVES = {(1, 1): " ", (0, 0): "█", (0, 1): "▀", (1, 0): "▄"}  # 1: dark


def qr_text(address: str, *, colours: bool, unicode: bool) -> str:
    """QR code of `address` as lines of text.

    Parameters
    ----------
    colours
        Set black and white by control sequences (ECMA-48), which is right on a dark and
        on a light terminal. Without them light modules are drawn, for a dark terminal.
    unicode
        Whether half blocks may be used: half as wide and half as high as ASCII.
    """
    code = segno.make(address, error="m", micro=False)
    rows = [list(map(int, row)) for row in code.matrix_iter(border=_QUIET)]
    if unicode:
        return "\n".join(_half_line(pair, colours) for pair in _pairs(rows))
    return "\n".join(_wide_line(row, colours) for row in rows)


def _pairs(rows: list[list[int]]) -> list[tuple[list[int], list[int]]]:
    padded = rows if len(rows) % 2 == 0 else [*rows, [0] * len(rows[0])]
    return list(zip(padded[0::2], padded[1::2], strict=True))


def _half_line(pair: tuple[list[int], list[int]], colours: bool) -> str:
    line = "".join(_HALVES[upper, lower] for upper, lower in zip(*pair, strict=True))
    return f"\x1b[97;40m{line}{_RESET}" if colours else line


def _wide_line(row: list[int], colours: bool) -> str:
    if not colours:
        return "".join("  " if dark else "##" for dark in row)
    return "".join(f"{_DARK if dark else _LIGHT}  " for dark in row) + _RESET
