"""Clips as answers: byte ranges, conditional requests and media types (RFC 9110).

Ranges are Starlette's; what is added is the validator: the digest in a clip's record
is a strong one, and makes `If-None-Match` and `If-Range` exact.
"""

from __future__ import annotations

import os
import stat
from email.utils import parsedate_to_datetime
from pathlib import Path
from typing import Any

from starlette.datastructures import Headers
from starlette.exceptions import HTTPException
from starlette.responses import FileResponse, Response

from patterns.kit.player_parts import container_type
from patterns.web.site import Site

_PICTURES = {".png": "image/png", ".jpg": "image/jpeg", ".svg": "image/svg+xml"}


def file_answer(site: Site, name: str, headers: Headers) -> Response:
    """Answer with the file `name` of the site, or its range, or 304.

    Raises
    ------
    HTTPException
        404: not a name of the site, or it is no longer a regular file.
    """
    path = site.files.get(name)
    if path is None:
        raise HTTPException(404, "no such clip")
    found = _regular(path)
    record = site.record(name)
    answer = FileResponse(
        path,
        stat_result=found,
        media_type=container_type(name) if record else _PICTURES.get(path.suffix, "image/png"),
        headers={"cache-control": "private, no-cache"} | _tag(record, found),
    )
    if _unchanged(answer, headers):
        kept = ("etag", "last-modified", "cache-control", "accept-ranges")
        return Response(status_code=304, headers={k: answer.headers[k] for k in kept})
    return answer


def _regular(path: Path) -> os.stat_result:
    """Look again at every request: the file may have become a link, or gone."""
    try:
        found = path.lstat()
    except OSError:
        raise HTTPException(404, "the clip is gone: start the server again") from None
    if not stat.S_ISREG(found.st_mode):
        raise HTTPException(404, "no such clip")
    return found


def _tag(record: dict[str, Any] | None, found: os.stat_result) -> dict[str, str]:
    digest = record.get("sha256") if record else None
    whole = record is not None and record.get("bytes") == found.st_size
    return {"etag": f'"{digest}"'} if isinstance(digest, str) and digest.isalnum() and whole else {}


def _unchanged(answer: FileResponse, headers: Headers) -> bool:
    """Weak comparison of If-None-Match, or else If-Modified-Since (RFC 9110, 13.2.2)."""
    tags = headers.get("if-none-match")
    if tags is not None:
        ours = answer.headers["etag"]
        return tags.strip() == "*" or ours in [
            t.strip().removeprefix("W/") for t in tags.split(",")
        ]
    since = headers.get("if-modified-since")
    if since is None:
        return False
    try:
        return parsedate_to_datetime(since) >= parsedate_to_datetime(
            answer.headers["last-modified"]
        )
    except (TypeError, ValueError, IndexError):
        return False
