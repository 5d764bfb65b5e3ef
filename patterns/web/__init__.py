"""The pages for phones and tablets, and the small server that hands them out."""

from __future__ import annotations

from importlib.util import find_spec

from patterns.errors import RequestError

_EXTRA = ("starlette", "uvicorn", "h11", "segno")


def require_extra() -> None:
    """Check that the packages of the extra `web` are installed.

    Raises `RequestError`: one of them is missing; the line names the command that installs them.
    """
    missing = [name for name in _EXTRA if find_spec(name) is None]
    if missing:
        raise RequestError(
            f"serving needs {', '.join(missing)}: where Evenhold is installed, run  "
            f"python -m pip install {' '.join(missing)}"
        )
