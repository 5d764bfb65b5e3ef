"""Every page that is opened from a folder, on three screens in both schemes, and what it says."""

from __future__ import annotations

import shutil
from fractions import Fraction as F
from pathlib import Path
from typing import Literal

import pytest
from playwright.sync_api import Browser

from patterns.drawing.style import DARK, LIGHT, hold_colours
from patterns.kit.kit import kit_clips, make_kit
from patterns.reading.compare import compare
from patterns.reading.compare_page import compare_page
from patterns.reading.opened import Given
from patterns.reading.read_file import read_file
from patterns.scenes.bars.pattern import BARS
from patterns.timing.cadence import Display
from tests.chromium import Console, fits, look
from tests.cli.running import run

SCHEMES: list[Literal["light", "dark"]] = ["light", "dark"]
# On each a page must fit. The checker looks at both schemes, for their contrast, and at the widest
# and the narrowest screen, for what each leaves out: what lies between has nothing of its own.
SCREENS = {(1440, 900): SCHEMES[0], (844, 390): None, (390, 844): SCHEMES[1]}


PAGES = {  # file, and keys to press there
    "kit": ("kit/index.html", ""),
    "crib sheet": ("kit/crib-sheet.html", ""),
    "how to film": ("kit/how-to-film.html", ""),
    "plan": ("plan.html", ""),
    "comparison": ("compare.html", ""),
    "talk": ("talk/index.html", ""),
    "talk, a clip": ("talk/index.html", "ArrowRight n"),
    "talk, a chart": ("talk/index.html", "ArrowRight ArrowRight ArrowRight"),
    "talk, the end": ("talk/index.html", "End"),
    "notes": ("talk/notes.html", ""),
    "demonstration": ("talk/demo.html", ""),
}


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory, talk_folder: Path) -> Path:
    path = tmp_path_factory.mktemp("pages")
    shutil.copytree(talk_folder, path / "talk")
    bars = BARS.motion(640, 360)
    made = kit_clips([bars], [F(24), F(60)], size=(640, 360), seconds=F(1, 2))
    make_kit(path / "kit", made, tuple(map(Display.fixed, (60, 90, 120))))
    clips = sorted((path / "kit").glob("*.mp4"))
    readings = [(clip.stem, read_file(clip, Given())) for clip in clips]
    (path / "compare.html").write_text(compare_page(compare(readings)), encoding="utf-8")
    assert run("plan", "--html", "plan.html", cwd=path).returncode == 0
    return path


@pytest.mark.parametrize("name", PAGES)
def test_a_page_fits_every_screen_in_both_schemes(
    browser: Browser, folder: Path, name: str
) -> None:
    place, keys = PAGES[name]
    page = browser.new_page()
    console = Console(page)
    page.goto((folder / place).as_uri())
    for key in keys.split():
        page.keyboard.press(key)
    for (width, height), scheme in SCREENS.items():
        page.set_viewport_size({"width": width, "height": height})
        if scheme is None:
            fits(page, f"{name}-{width}")
        else:
            page.emulate_media(color_scheme=scheme)
            look(page, f"{name}-{width}-{scheme}")
    assert page.locator('meta[http-equiv="Content-Security-Policy"]').count() == 1
    page.close()
    assert console.errors == []


COLOUR_OF = """([hold, cadence]) => {
  const canvas = document.createElement("canvas");
  Object.assign(canvas.style, { width: "300px", height: "60px", display: "block" });
  document.body.append(canvas);
  modules.chart.drawChart(canvas, [{ refreshes: hold }], cadence);
  const [r, g, b] = canvas.getContext("2d").getImageData(3, 46, 1, 1).data;
  canvas.remove();
  return "#" + [r, g, b].map((v) => v.toString(16).padStart(2, "0")).join("");
}"""


@pytest.mark.parametrize("scheme", SCHEMES)
def test_the_players_chart_colours_holds_by_the_rule_of_the_pictures(
    browser: Browser, folder: Path, scheme: Literal["light", "dark"]
) -> None:
    page = browser.new_page(color_scheme=scheme)
    page.goto((folder / "kit/index.html").as_uri())
    for cadence in ([2], [2, 3], [1], [4, 5]):
        for hold in range(1, 7):
            due = hold_colours(hold, cadence, LIGHT if scheme == "light" else DARK)[0]
            assert page.evaluate(COLOUR_OF, [hold, cadence]) == due, (hold, cadence)
    page.close()
