"""The application: which address gives what. Everything in it stands behind the guard.

Byte ranges and conditional requests of clips are Starlette's; what is added is the validator: the
digest in a clip's record is a strong one, and makes both exact (RFC 9110).
"""

from __future__ import annotations

import os
from collections.abc import Callable
from functools import partial
from importlib.resources import files
from pathlib import Path
from types import MappingProxyType
from typing import Any

from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import Headers, QueryParams
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import FileResponse, JSONResponse, Response
from starlette.routing import Route
from starlette.staticfiles import NotModifiedResponse, StaticFiles

from patterns.drawing.style import page_css
from patterns.errors import EvenholdError, OutputError, RequestError
from patterns.kit.pages import HOW_TO_NAME, container_type
from patterns.web import site as pages
from patterns.web.browser_reading import browser_reading
from patterns.web.guard import Guard, Rules
from patterns.web.live_pattern import LivePattern, live_pattern, number_table, snapped_refresh
from patterns.web.observation import parse_observation
from patterns.web.site import Pace, ReadingShelf, Site, TooManyError, plain_file

_PICTURES = {".png": "image/png", ".jpg": "image/jpeg", ".svg": "image/svg+xml"}


def file_answer(site: Site, name: str, headers: Headers) -> Response:
    """Answer with the file `name` of the site, or its range, or 304.

    Raises `HTTPException`: 404: not a name of the site, or it is no longer a regular file.
    """
    path = site.files.get(name)
    if path is None:
        raise HTTPException(404, "no such clip")
    found = plain_file(path)  # at every request: it may have become a link, or gone
    if found is None:
        raise HTTPException(404, "the clip is gone: start the server again")
    record = site.record(name)
    answer = FileResponse(
        path,
        stat_result=found,
        media_type=container_type(name) if record else _PICTURES.get(path.suffix, "image/png"),
        headers={"cache-control": "private, no-cache"} | _tag(record, found),
    )
    if StaticFiles().is_not_modified(answer.headers, headers):
        return NotModifiedResponse(answer.headers)
    return answer


def _tag(record: dict[str, Any] | None, found: os.stat_result) -> dict[str, str]:
    digest = record.get("sha256") if record else None
    whole = record is not None and record.get("bytes") == found.st_size
    return {"etag": f'"{digest}"'} if isinstance(digest, str) and digest.isalnum() and whole else {}


_STATIC_TYPES = {".js": "text/javascript; charset=utf-8", ".css": "text/css; charset=utf-8"}
_FRESH = {"cache-control": "no-cache"}
_LIVE_PICTURES: dict[str, Callable[[LivePattern], bytes]] = {
    "band.png": LivePattern.band_png,
    "bars.png": LivePattern.bars_png,
    "digits.png": LivePattern.digits_png,
}


def _static() -> MappingProxyType[str, tuple[bytes, str]]:
    """Scripts and styles of the package by name; they are few and small."""
    found = {}
    folders = (files("patterns.kit") / "player", files("patterns.web") / "static")
    for entry in (entry for folder in folders for entry in folder.iterdir()):
        if kind := _STATIC_TYPES.get(Path(entry.name).suffix):
            found[entry.name] = (entry.read_bytes(), kind)
    return MappingProxyType(found)


def _made(path: str, media_type: str, make: Callable[[], str | bytes]) -> Route:
    """Address whose answer depends on nothing in the request."""

    async def answer(_: Request) -> Response:
        return Response(make(), media_type=media_type, headers=_FRESH)

    return Route(path, answer)


class _Answers:
    def __init__(self, site: Site, shelf: ReadingShelf, pace: Pace) -> None:
        self._site, self._shelf, self._pace = site, shelf, pace
        self._static = _static()

    async def static(self, request: Request) -> Response:
        found = self._static.get(request.path_params["name"])
        if found is None:
            raise HTTPException(404, "no such file")
        return Response(found[0], headers=_FRESH | {"content-type": found[1]})

    async def file(self, request: Request) -> Response:
        return file_answer(self._site, request.path_params["name"], request.headers)

    async def live_part(self, request: Request) -> Response:
        return await run_in_threadpool(
            _live_answer, request.path_params["part"], request.query_params
        )

    async def take(self, request: Request, *, keep: bool) -> Response:
        self._pace.take(request.client.host if request.client else "")
        return await run_in_threadpool(self._read, await request.body(), keep)

    def _read(self, body: bytes, keep: bool) -> Response:
        seen = parse_observation(body)
        record = self._site.record(seen.clip) if seen.clip is not None else None
        if seen.clip is not None and record is None:
            raise RequestError("the reading names a clip that is not served here")
        reading = browser_reading(seen, record)
        if not keep:
            return JSONResponse({"reading": reading})
        name = self._shelf.keep(reading, Path(seen.clip).stem if seen.clip else "live")
        return JSONResponse({"reading": reading, "file": name}, status_code=201)


def _live_answer(part: str, query: QueryParams) -> Response:
    width, height = query.get("width", ""), query.get("height", "")
    if not (width.isdecimal() and height.isdecimal() and len(width) < 6 and len(height) < 6):
        raise RequestError("give width and height in pixels, and the refresh in hertz")
    pattern = live_pattern(int(width), int(height), snapped_refresh(query.get("refresh", "")))
    if part == "plan.json":
        return JSONResponse(pattern.to_json())
    if part not in _LIVE_PICTURES:
        raise HTTPException(404, "no such part")
    return Response(_LIVE_PICTURES[part](pattern), media_type="image/png", headers=_FRESH)


# RFC 9110 and RFC 4918: too many, no room, asked wrongly
_STATUS: dict[type, int] = {TooManyError: 429, OutputError: 507, RequestError: 400}


async def _failed(_: Request, error: Exception) -> Response:
    headers = {"retry-after": "5"} if isinstance(error, TooManyError) else {}
    headers["cache-control"] = "no-store"
    return JSONResponse({"error": str(error)}, _STATUS.get(type(error), 500), headers)


async def _refused(_: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    return JSONResponse(
        {"error": error.detail}, status_code=error.status_code, headers=error.headers
    )


def make_app(site: Site, rules: Rules, *, pace: Pace | None = None) -> Guard:
    """ASGI application that serves `site` to whom `rules` let in."""
    answers = _Answers(site, ReadingShelf(site.folder), pace or Pace())
    routes = [
        _made("/", "text/html", lambda: pages.clips_page(site)),
        _made("/live", "text/html", lambda: pages.live_page(site)),
        _made(f"/{HOW_TO_NAME}", "text/html", pages.how_to_page),
        _made("/theme.css", "text/css", page_css),
        _made("/words.bin", "application/octet-stream", number_table),
        Route("/static/{name}", answers.static),
        Route("/clips/{name}", answers.file),
        Route("/live/{part}", answers.live_part),
        Route("/summary", partial(answers.take, keep=False), methods=["POST"]),
        Route("/readings", partial(answers.take, keep=True), methods=["POST"]),
    ]
    handlers: dict[Any, Any] = {EvenholdError: _failed, HTTPException: _refused}
    inner = Starlette(routes=routes, exception_handlers=handlers)
    inner.router.redirect_slashes = False  # a redirect would leave the key out
    return Guard(inner, rules)
