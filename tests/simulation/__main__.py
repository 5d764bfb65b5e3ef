"""Run the whole grid and print its table as Markdown: python -m tests.simulation.

Every display x rate x capture rate at both levels; --pictures of each recording. Takes
about half an hour on two cores: --part 1/2 and --save FILE share it out, --table FILE...
adds the parts up, and --keep FOLDER keeps the recordings, so that a changed reader is
judged by the same ones in a few minutes. Photos: python -m tests.simulation.photo_trial.
"""

from __future__ import annotations

import argparse
import json
import sys
import tempfile
import time
from collections import Counter
from itertools import product
from pathlib import Path

from tests.simulation.conditions import CAPTURES, DISPLAYS, LEVELS, RATES, draw_case
from tests.simulation.judge import Score, run_case
from tests.simulation.table import table

Scores = dict[tuple[str, str, int], Score]


def _arguments() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--pictures", type=int, default=215, help="in each recording")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--part", default="1/1", help="I/N: only every N-th recording")
    parser.add_argument("--skip", type=int, default=0, help="leave out the first of the part")
    parser.add_argument("--keep", type=Path, help="folder for the recordings, to read them again")
    parser.add_argument("--seconds", type=float, default=1e9, help="stop after so long")
    parser.add_argument("--save", type=Path, help="write the counts here as they come")
    parser.add_argument("--table", type=Path, nargs="+", help="print the table of saved counts")
    return parser.parse_args()


def _save(scores: Scores, path: Path) -> None:
    rows = [{"key": list(key), "score": vars(score)} for key, score in scores.items()]
    part = path.with_suffix(".part")
    part.write_text(json.dumps(rows), encoding="utf-8")
    part.rename(path)


def _load(paths: list[Path]) -> Scores:
    scores: Scores = {}
    for path in paths:
        for row in json.loads(path.read_text(encoding="utf-8")):
            level, rate, capture = row["key"]
            kept = row["score"]
            kept["reasons"] = Counter(kept["reasons"])
            scores.setdefault((level, rate, capture), Score()).add(Score(**kept))
    return scores


def _run(options: argparse.Namespace) -> Scores:
    index, parts = (int(v) for v in options.part.split("/"))
    scores: Scores = {}
    began = time.monotonic()
    grid = list(product(LEVELS, RATES, DISPLAYS, CAPTURES))
    # both halves of the grid get on alike, so that a run cut short is still even
    grid.sort(key=lambda cell: (RATES.index(cell[1]) * 7 + cell[2] * 3 + cell[3]) % 17)
    for i, (level, rate, display, capture) in enumerate(grid):
        if i % parts != index - 1 or i // parts < options.skip:
            continue
        case = draw_case(level, rate, display, capture, options.seed)
        with tempfile.TemporaryDirectory() as folder:
            score = run_case(case, options.pictures, options.keep or Path(folder))
        scores.setdefault((level, str(rate), capture), Score()).add(score)
        for fault in score.faults:
            sys.stderr.write(f"WRONG {fault}\n")
        if score.rate < 0.95:
            said = f"{score.due_read}/{score.due} {dict(score.reasons)}"
            sys.stderr.write(f"low: {level} {rate} on {display} at {capture}: {said}\n")
        if options.save:
            _save(scores, options.save)
        if time.monotonic() - began > options.seconds:
            break
    return scores


def main() -> None:
    """Run or add up, and print."""
    options = _arguments()
    sys.stdout.write(table(_load(options.table) if options.table else _run(options)) + "\n")


if __name__ == "__main__":
    main()
