"""A presentation on disk: the parts asked for, or the whole folder with index and notes."""

from __future__ import annotations

import json
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from patterns.errors import RequestError
from patterns.present.talk_items import Item, Kind, items_of, whole_talk
from patterns.present.talk_pages import index_page, notes_page
from patterns.present.talk_request import PARTS, Part, TalkRequest
from patterns.side_by_side import Progress, Task, side_by_side
from patterns.timing.cadence_record import cadence_record
from patterns.timing.rates import format_decimal
from patterns.version import VERSION
from patterns.whole_file import make_folder, write_whole

__all__ = ["SCHEMA", "dump_talk", "make_parts", "make_talk", "talk_text"]

SCHEMA = "evenhold/present 1"
# How long they take, about.
SIZES: dict[Kind, int] = {"clip": 1000, "animation": 300, "still": 50, "page": 10}
PAGES = ("index.html", "notes.html", "talk.json")


def _refuse_existing(folder: Path, names: Iterable[str], *, force: bool) -> None:
    """Say at once what would stand in the way after minutes of drawing."""
    there = [name for name in names if (folder / name).exists()]
    if there and not force:
        more = f" and {len(there) - 1} more" if len(there) > 1 else ""
        raise RequestError(
            f"{folder / there[0]}{more} exists: give --force to replace, or another --out"
        )


def _item_json(item: Item, folder: Path, facts: dict[str, Any]) -> dict[str, Any]:
    return {
        "kind": item.kind,
        "files": list(item.files),
        "bytes": sum((folder / name).stat().st_size for name in item.files),
        "title": item.notes.title,
        "look": item.notes.look,
        "say": list(item.notes.say),
        **facts,
    }


def _items(request: TalkRequest, parts: tuple[Part, ...] | None) -> tuple[Item, ...]:
    """Items of some parts, or of the whole talk."""
    if parts is None:
        return whole_talk(request)
    return tuple(item for part in PARTS if part in parts for item in items_of(request, part))


def make_item(
    request: TalkRequest, parts: tuple[Part, ...] | None, number: int, progress: Progress
) -> dict[str, Any]:
    """Make one item of a presentation; returns its JSON object."""
    item = _items(request, parts)[number]
    return _item_json(item, request.folder, item.make(request.folder, progress))


def _make(
    request: TalkRequest, parts: tuple[Part, ...] | None, progress: Progress | None, jobs: int
) -> list[Any]:
    tasks = [
        Task(item.files[0], make_item, (request, parts, number), SIZES[item.kind])
        for number, item in enumerate(_items(request, parts))
    ]
    return side_by_side(tasks, jobs, progress)


def _talk_json(request: TalkRequest, items: list[Any]) -> dict[str, Any]:
    rates = [format_decimal(rate) for rate in request.rates]
    hz = format_decimal(request.refresh_hz)
    return {
        "schema": SCHEMA,
        "made_by": f"evenhold {VERSION}",
        "title": f"{', '.join(rates[:-1])} and {rates[-1]} frames a second on {hz} Hz",
        "display": hz,
        "rates": rates,
        "cadence": [cadence_record(cadence) for cadence in request.cadences],
        "items": items,
    }


def make_parts(
    request: TalkRequest,
    parts: Iterable[Part],
    progress: Progress | None = None,
    *,
    jobs: int = 1,
) -> dict[str, Any]:
    """Make single parts, `jobs` files at once; returns the object that `--json` prints.

    Raises
    ------
    RequestError
        A part is not possible, exceeds a limit for flashes, or its file exists.
    OutputError, EncoderError
        The disk or the encoder failed; nothing half-written is left.
    """
    wanted = tuple(parts)
    items = _items(request, wanted)
    names = [name for item in items for name in item.files]
    _refuse_existing(request.folder, names, force=request.force)
    make_folder(request.folder)
    return _talk_json(request, _make(request, wanted, progress, jobs))


def make_talk(
    request: TalkRequest, progress: Progress | None = None, *, jobs: int = 1
) -> dict[str, Any]:
    """Make the whole folder: all parts, index.html, notes.html and talk.json.

    Raises
    ------
    RequestError, OutputError, EncoderError
        As for `make_parts`.
    """
    items = whole_talk(request)
    names = [name for item in items for name in item.files]
    _refuse_existing(request.folder, [*names, *PAGES], force=request.force)
    make_folder(request.folder)
    data = _talk_json(request, _make(request, None, progress, jobs))
    pages = (index_page(data), notes_page(data), dump_talk(data))
    for name, text in zip(PAGES, pages, strict=True):
        write_whole(request.folder / name, text, force=request.force)
    return data


def dump_talk(data: dict[str, Any]) -> str:
    """JSON text with stable order."""
    return json.dumps(data, indent=2) + "\n"


def talk_text(data: dict[str, Any], folder: Path, *, whole: bool) -> str:
    """What was made, for the terminal."""
    lines = [data["title"]]
    width = max(len(name) for item in data["items"] for name in item["files"])
    for item in data["items"]:
        size = f"{item['bytes'] / 1e6:.1f} MB" if item["bytes"] >= 1e5 else (
            f"{item['bytes'] / 1e3:.0f} kB"
        )  # fmt: skip
        lines.append(f"  {item['files'][0]:<{width}}  {size:>8}  {item['title']}")
        lines += [f"  {name:<{width}}" for name in item["files"][1:]]
        if item.get("timing"):
            lines.append(f"    {item['timing']}")
        if item.get("safety"):
            lines.append(f"    safety: {item['safety']['summary']}")
    if whole:
        lines.append(f"open {folder / 'index.html'}; print {folder / 'notes.html'}")
    else:
        lines.append(f"in {folder}")
    if any(item.get("safety") for item in data["items"]):
        lines.append("(flashes and stripes: an aid, not a certificate)")
    return "\n".join(lines)
