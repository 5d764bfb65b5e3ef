"""Claims about photos that go wrong, beside the truth: python -m tests.simulation.photo_trial SEED.

A claim is a pattern at a refresh, a frame that was not shown, that none was lost, even or
uneven holds, or the hold of a cell. A photo is wrong if one claim is; right if something
was claimed and nothing is wrong; unsure otherwise. --keep FOLDER keeps the pictures.
"""

from __future__ import annotations

import argparse
import pickle
import re
import sys
from collections import Counter
from collections.abc import Iterator
from fractions import Fraction
from pathlib import Path

import numpy as np

from patterns.picture.arrays import UInt8Array
from patterns.reading.photo import judge_photo
from patterns.reading.reading import Reading
from patterns.strip.code import hold_row
from patterns.strip.photo import read_photo
from patterns.timing.cadence import Display
from tests.simulation.photo_faults import Photo, Shown, cases, photograph

__all__ = ["claimed", "read_case", "wrong_claims"]

NONE_LOST = re.compile(r"no cell dark|no frame (?:was )?(?:lost|missing|dropped)")
RIGHT_TO = re.compile(r"right to (\d+) %")
EVEN, UNEVEN = 0.08, 0.03  # of the mean: holds that differ by less are even, by more uneven
GROSS = 0.08


def read_case(case: Photo, picture: UInt8Array) -> Reading:
    """Read the photo of a case, given what the user would say of it."""
    found = read_photo(picture)
    return judge_photo(
        found, file="photo.jpg",
        exposure_s=None if case.told_s is None else Fraction(case.told_s).limit_denominator(1000),
        display=Display.fixed(case.refresh_hz) if case.display_told else None,
    )  # fmt: skip


def wrong_claims(case: Photo, shown: Shown, said: Reading) -> Iterator[str]:
    """Each claim that is not true."""
    if case.speed != 1 and said.verdict.startswith("if the clip ran at its own speed"):
        return  # then nothing is said
    cells = hold_row(case.rate).cells
    lost = {n % cells for n in shown.lost}
    for cell in said.dropped:
        if cell not in lost:
            yield f"cell {cell} told as lost, was {sorted(lost)}"
    told = {held.number for held in said.holds}
    # of the cells known: where the exposure's ends cut a cell, nothing is said of it
    if NONE_LOST.search(said.verdict) and lost & told:
        yield f"none told as lost, but {sorted(lost)} were"
    every = [h for n, holds in shown.holds.items() for h in holds if n % cells in told] or [1]
    spread = (max(every) - min(every)) / (sum(every) / len(every))
    if said.even is True and spread > EVEN:
        yield f"told as even, holds differ by {100 * spread:.0f} %"
    # uneven are all frames, also those whose cells are not told, and those that were lost
    whole = [h for holds in shown.holds.values() for h in holds]
    if said.even is False and not lost and max(whole) - min(whole) < UNEVEN * max(whole):
        yield "told as uneven, but even"
    if said.pattern is not None:
        if said.refresh_hz != case.refresh_hz:
            yield f"told as {said.refresh_hz} Hz, was {case.refresh_hz}"
        elif _fits(said.pattern, shown) < 0.75:
            yield f"pattern {said.pattern} fits {100 * _fits(said.pattern, shown):.0f} %"
    yield from _wrong_holds(case, shown, said)


def _fits(pattern: tuple[int, ...], shown: Shown) -> float:
    """Share of the frames whose holds are as the pattern says, with one slip at most."""
    pairs = sorted((n, h) for n, holds in shown.holds.items() for h in holds)
    right = np.array(
        [
            [pattern[(n + turn) % len(pattern)] == h for n, h in pairs]
            for turn in range(len(pattern))
        ]
    )
    before = np.c_[np.zeros(len(right)), right.cumsum(axis=1)]
    after = before[:, -1:] - before
    return float((before.max(axis=0) + after.max(axis=0)).max() / len(pairs))


def hold_errors(case: Photo, shown: Shown, said: Reading) -> dict[int, float]:
    """Error of each hold told, over the true hold or the mean one; cut cells count by light."""
    cells = hold_row(case.rate).cells
    mean = 1 / float(case.rate) / case.speed
    whole = sum(length for _, length in case.parts)
    off = {}
    for held in said.holds:
        own = [n for n in shown.light if n % cells == held.number % cells]
        times = [h / case.refresh_hz for n in own for h in shown.holds.get(n, [])]
        lit = whole * sum(shown.light[n] for n in own)
        # the mean of its showings, and what its light makes of them
        truths = [lit / k for k in (1, len(own), max(1, len(own) - 1)) if k]
        if times:
            truths = [sum(times) / len(times), *([lit / len(own)] if own else [])]
        truth = min(truths or [0.0], key=lambda t: abs(t - held.hold_s))
        off[held.number] = abs(held.hold_s - truth) / max(truth, mean)
    return off


def _wrong_holds(case: Photo, shown: Shown, said: Reading) -> Iterator[str]:
    off = hold_errors(case, shown, said)
    gross = [n for n, error in off.items() if error > max(GROSS, _stated(said))]
    if gross:
        yield f"{len(gross)} of {len(off)} holds wrong, by up to {100 * max(off.values()):.0f} %"
    cells = hold_row(case.rate).cells
    cut = {n % cells for n in shown.cut}
    for held in said.holds:
        true = {h for n, hs in shown.holds.items() if n % cells == held.number % cells for h in hs}
        known = held.number not in {*cut, *said.dropped}
        if held.refreshes is not None and known and held.refreshes not in true:
            yield f"cell {held.number} told as {held.refreshes} refreshes, was {sorted(true)}"
            return


def _stated(said: Reading) -> float:
    match = RIGHT_TO.search(said.verdict)
    return int(match[1]) / 100 if match else GROSS


def claimed(said: Reading) -> bool:
    """Whether anything was claimed of how frames were held."""
    return bool(said.pattern or said.even is not None or said.dropped or said.holds)


def _taken(case: Photo, seed: int, folder: Path | None) -> tuple[UInt8Array, Shown]:
    kept = folder / f"{seed}-{case.name.replace(' ', '-')}.pickle" if folder else None
    if kept and kept.exists():
        kept_before: tuple[UInt8Array, Shown] = pickle.loads(kept.read_bytes())
        return kept_before
    taken = photograph(case)
    if kept:
        kept.write_bytes(pickle.dumps(taken))
    return taken


def main() -> None:
    """Print a table of the groups, and each wrong claim."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("seeds", type=int, nargs="+")
    parser.add_argument("--keep", type=Path, help="folder for the pictures, to read them again")
    parser.add_argument("--only", help="groups or names that begin so")
    parser.add_argument("--show", action="store_true", help="print every verdict")
    options = parser.parse_args()
    counts: dict[str, Counter[str]] = {}
    for seed in options.seeds:
        for case in cases(seed):
            if options.only and not (case.group + case.name).startswith(options.only):
                continue
            picture, shown = _taken(case, seed, options.keep)
            said = read_case(case, picture)
            wrong = list(wrong_claims(case, shown, said))
            kind = "wrong" if wrong else "right" if claimed(said) else "unsure"
            errors = hold_errors(case, shown, said)
            score = counts.setdefault(case.group, Counter())
            score[kind] += 1
            beyond = max(errors.values(), default=0.0) > _stated(said) + 0.005
            score["beyond accuracy"] += beyond
            if wrong or options.show or beyond:
                about = f"{seed} {case.name}: {case.rate} on {case.refresh_hz}, told {case.told_s}"
                sys.stdout.write(f"{kind}{'+' * beyond} {about}\n    {said.verdict}\n")
                sys.stdout.writelines(f"    WRONG {text}\n" for text in wrong)
                if beyond:
                    sys.stdout.write(f"    worst hold off by {100 * max(errors.values()):.1f} %\n")
                sys.stdout.flush()
    heads = ("right", "unsure", "wrong", "beyond accuracy")
    sys.stdout.write(f"| group | photos | {' | '.join(heads)} |\n|{'---|' * 6}\n")
    total = sum(counts.values(), Counter())
    for group, score in [*counts.items(), ("all", total)]:
        photos = sum(score[kind] for kind in heads[:3])
        sys.stdout.write(f"| {group} | {photos} | {' | '.join(str(score[k]) for k in heads)} |\n")


if __name__ == "__main__":
    main()
