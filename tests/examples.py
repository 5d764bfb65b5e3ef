"""The README's examples, made by the commands themselves: `python -m tests.examples`.

Every block of the README that begins with ```console holds commands behind `$ `, each followed by
what it prints. This runs them in an empty folder, one after another, and writes the blocks anew.
"""

from __future__ import annotations

import os
import re
import shlex
import subprocess
import sys
import tempfile
from pathlib import Path

__all__ = ["README", "loosely", "made_again"]

README = Path(__file__).parents[1] / "README.md"
_BLOCK = re.compile(r"(```console\n)(.*?)(```)", re.DOTALL)
_RUN = (sys.executable, "-X", "utf8", "-m", "patterns")


def made_again(text: str) -> str:
    """The README with what its commands print now.

    Raises
    ------
    RuntimeError
        A command fails.
    """
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        return _BLOCK.sub(lambda found: found[1] + _printed(found[2], folder) + found[3], text)


def _printed(block: str, folder: Path) -> str:
    parts = []
    for line in re.findall(r"^\$ evenhold (.*)$", block, re.MULTILINE):
        done = subprocess.run(
            [*_RUN, *shlex.split(line)],
            cwd=folder,
            env={**os.environ, "PYTHONPATH": str(README.parent)},
            capture_output=True,
            encoding="utf-8",
            check=False,
        )
        if done.returncode:
            raise RuntimeError(f"evenhold {line}: {done.stderr}")
        parts.append(f"$ evenhold {line}\n{done.stdout}")
    return "\n".join(parts)


def loosely(text: str) -> str:
    """Text without what another encoder or system may make another: sizes, slashes."""
    return re.sub(r"\d+(\.\d+)? MB", "MB", text).replace("\\", "/")


def main() -> None:
    """Write the README's blocks anew."""
    README.write_text(made_again(README.read_text(encoding="utf-8")), encoding="utf-8")


if __name__ == "__main__":
    main()
