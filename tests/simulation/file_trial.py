# ruff: noqa: T201 - a command that prints its table
"""Read the trial files and count readings that are right, refused and wrong.

python -m tests.simulation.file_trial FOLDER SEED... [--only KIND]: files are kept in FOLDER, so
that a changed reader is judged by the same ones.
"""

from __future__ import annotations

import argparse
import pickle
import sys
import time
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

from patterns.errors import EvenholdError
from patterns.reading.opened import Given
from patterns.reading.read_file import read_file
from patterns.reading.reading import Reading
from tests.simulation.files import KINDS, Truth, make


def main() -> None:
    """Print a table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("seeds", type=int, nargs="+")
    parser.add_argument("--only", action="append")
    options = parser.parse_args()
    options.folder.mkdir(exist_ok=True)
    total: Counter[str] = Counter()
    for kind in options.only or KINDS:
        row: Counter[str] = Counter()
        for seed in options.seeds:
            truth = _kept(kind, seed, options.folder)
            began = time.monotonic()
            found, why = judged(truth)
            row[found] += 1
            if found != "right":
                sys.stderr.write(
                    f"{found} {truth.path.name}: {why} ({time.monotonic() - began:.1f} s)\n"
                )
        total += row
        print(
            f"{kind:20} {row['right']:3} right {row['refused']:3} refused {row['wrong']:3} wrong",
            flush=True,
        )
    print(
        f"{'all':20} {total['right']:3} right {total['refused']:3} refused {total['wrong']:3} wrong"
    )


def _kept(kind: str, seed: int, folder: Path) -> Truth:
    note = folder / f"{kind}-{seed}.pickle"
    if not note.exists():
        note.write_bytes(pickle.dumps(make(kind, seed, folder)))
    truth: Truth = pickle.loads(note.read_bytes())
    return truth


def judged(truth: Truth) -> tuple[str, str]:
    """'right', 'refused' or 'wrong', with the verdict or what is wrong."""
    try:
        reading = read_file(truth.path, Given())
    except EvenholdError as error:
        return "refused", str(error)
    if reading.kind not in truth.kinds:
        said = reading.repeated or reading.blended or reading.rate or reading.read
        return ("wrong" if said else "refused"), f"read as {reading.kind}: {reading.verdict}"
    if not reading.read and reading.kind != "footage":
        return "refused", reading.verdict
    faults = list(_faults(reading, truth))
    if faults:
        return "wrong", "; ".join(faults) + f" [{reading.verdict}]"
    return "right", reading.verdict


def _steps_back(r: Reading) -> int:
    return len(r.out_of_order) + int(r.details.get("steps_back", 0))


def _faults(r: Reading, truth: Truth) -> Iterator[str]:
    as_made = r.verdict.startswith("as it was made")
    whole = r.read == r.pictures
    if truth.as_made and not as_made and whole:
        yield "not said to be as it was made"
    if truth.as_made is False and as_made:
        yield "said to be as it was made"
    if truth.intact and any(
        w in text for w in ("decoded", "damaged", "cut off") for text in r.warnings
    ):
        yield "said to be damaged"
    if truth.dropped is not None and set(r.dropped) - truth.dropped:
        yield f"{len(set(r.dropped) - truth.dropped)} drops invented"
    if truth.dropped and whole and truth.dropped - set(r.dropped) - set(r.unseen):
        yield f"{len(truth.dropped - set(r.dropped))} drops missed"
    if truth.repeats == 0 and r.repeated and r.kind != "recording":
        yield f"{len(r.repeated)} repeats invented"
    if truth.mixed == 0 and r.blended:
        yield f"{len(r.blended)} mixtures invented"
    if truth.backward is not None and _steps_back(r) != truth.backward and whole:
        yield f"{_steps_back(r)} steps back instead of {truth.backward}"
    if (
        truth.speed
        and r.kind == "clip"
        and r.speed is not None
        and abs(r.speed / truth.speed - 1) > 2e-3
    ):
        yield f"speed {r.speed:.4f} instead of {truth.speed:.4f}"
    if truth.seconds and abs(r.seconds / truth.seconds - 1) > 0.03:
        yield f"{r.seconds:.2f} s instead of {truth.seconds:.2f}"
    if truth.capture_hz and r.capture_hz and abs(r.capture_hz / truth.capture_hz - 1) > 0.03:
        yield f"camera {r.capture_hz:.1f} instead of {truth.capture_hz}"
    if r.error is not None and r.error.rms_ms < truth.least_error_ms:
        yield f"timing error {r.error.rms_ms:.2f} ms"
    if r.error is not None and r.error.rms_ms > 60 and r.kind == "clip" and truth.repeats == 0:
        yield f"timing error {r.error.rms_ms:.0f} ms"


if __name__ == "__main__":
    main()
