"""A cadence as the plain values that JSON holds, schema 'evenhold/cadence 1'."""

from __future__ import annotations

import json
from collections.abc import Sequence
from itertools import islice

from patterns.timing.cadence import LONGEST_LISTED, Cadence
from patterns.timing.verdict import verdict

__all__ = ["SCHEMA", "cadence_json", "cadence_record"]

SCHEMA = "evenhold/cadence 1"
LISTED_HOLDS = 64
RUNS_OF_A_LONG_PERIOD = 1000


def _holds(cadence: Cadence) -> list[int] | dict[str, object]:
    """List the holds, or their run-length form where the period is over 64 frames."""
    if cadence.period_frames <= LISTED_HOLDS:
        return list(cadence.holds)
    whole = cadence.period_frames <= LONGEST_LISTED
    runs = [list(run) for run in islice(cadence.runs(), None if whole else RUNS_OF_A_LONG_PERIOD)]
    listed = sum(frames for _, frames in runs)
    return {
        "period_frames": cadence.period_frames,
        "runs": runs,
        "complete": listed == cadence.period_frames,
    }


def cadence_record(cadence: Cadence) -> dict[str, object]:
    """Plain values of a cadence, with stable keys.

    Rates and frequencies are in hertz, `rate_exact` and `refresh_exact` as fractions in
    text, times in milliseconds. `holds` lists the refreshes of each frame of a period; for
    a period of more than 64 frames it is an object: `period_frames`, `runs` as [refreshes,
    frames in a row], and `complete`, false where a period of more than 100 000 frames is
    cut after its first 1000 runs.
    """
    return {
        "schema": SCHEMA,
        "rate": float(cadence.rate),
        "rate_exact": str(cadence.rate),
        "display": cadence.display.name,
        "refresh": float(cadence.refresh_hz),
        "refresh_exact": str(cadence.refresh_hz),
        "holds": _holds(cadence),
        "period_frames": cadence.period_frames,
        "period_s": float(cadence.period_s),
        "beat_hz": float(cadence.beat_hz),
        "odd_holds_per_second": float(cadence.odd_holds_per_second),
        "timing_error_rms_ms": 1000 * cadence.timing_error_rms_s,
        "timing_error_span_ms": float(1000 * cadence.timing_error_span_s),
        "dropped_per_second": float(cadence.dropped_per_second),
        "even": cadence.even,
        "verdict": verdict(cadence),
    }


def cadence_json(cadences: Sequence[Cadence]) -> str:
    """JSON list of the cadences' records, one key a line."""
    objects = (
        ",\n".join(f"    {json.dumps(key)}: {json.dumps(value)}" for key, value in record.items())
        for record in map(cadence_record, cadences)
    )
    return "[\n" + ",\n".join(f"  {{\n{lines}\n  }}" for lines in objects) + "\n]"
