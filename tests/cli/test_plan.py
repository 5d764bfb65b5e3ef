"""`evenhold plan` as typed: one full plan to the letter, its JSON, its page, and bad input."""

from __future__ import annotations

import json
import re
from fractions import Fraction
from html.parser import HTMLParser
from math import atan, cos, log2, radians, sin, tan
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner, Result
from PIL import Image

from patterns.cli import main
from patterns.cli.plan import command
from patterns.drawing.style import LIGHT
from tests.cli.running import run
from tests.reading.edits import encode
from tests.video.moving import moving_texture

GOLDEN = Path(__file__).parent / "golden" / "plan_tarn_hollow.txt"

# The survey crew at Tarn Hollow: along the dam at dusk, its lamps on, with last year's
# footage at 24 and 25 to go beside it.
DIGITS = 5e-5  # half of the last of the five that JSON carries
TARN_HOLLOW = [
    "--display", "60:0.7", "--display", "120:0.2", "--display", "48-120:0.1",
    "--rates", "24,25,29.97,30,50,60",
    "--mains", "50", "--lamp-depth", "40", "--metered", "ISO100 f/2.8 1/2000",
    "--flight", "sideways", "--speed", "12", "--height", "15", "--pitch", "35", "--lens", "28",
    "--footage", "24,25",
]  # fmt: skip


def plan(*words: str) -> Result:
    return CliRunner().invoke(command, list(words), catch_exceptions=False)


def test_the_whole_plan_of_tarn_hollow() -> None:
    """Read by eye; a change of wording or of a number has to be read again."""
    done = plan(*TARN_HOLLOW, "--details")
    assert done.exit_code == 0
    assert done.output == GOLDEN.read_text(encoding="utf-8")


def test_the_same_plan_as_numbers_worked_by_hand() -> None:
    found = json.loads(plan(*TARN_HOLLOW, "--json").output)
    assert found["schema"] == "evenhold/plan 1"
    # 28 mm equivalent: f = 1920 * 28/36 px. Bottom row, looking across the flight:
    # v (b cos p + f sin p)/h with b = 540.
    speed = 12 / 15 * (540 * cos(radians(35)) + 1920 * 28 / 36 * sin(radians(35)))
    assert found["image_motion"]["fastest_px_per_s"] == pytest.approx(
        speed, rel=5e-5
    )  # five digits
    best = found["rates"][0]
    assert (found["best_rate"], best["rate"], best["place"]) == ("60", "60", 1)
    assert best["movement"]["limit_cross_s"] == pytest.approx(7 * 24 / 60)
    assert best["movement"]["times_limit"] == pytest.approx(speed / (1920 * 60 / 168), abs=1e-4)
    assert best["filter"]["stops"] == pytest.approx(log2(2000 / 100), rel=DIGITS)
    assert best["shutter"]["advised_s"] == "1/100"
    by_rate = {r["rate"]: r for r in found["rates"]}
    assert by_rate["24"]["expected_error_ms"] == pytest.approx(0.7 * 4.1667, abs=1e-3)
    jump = by_rate["24"]["jump"]["px"]
    assert jump == pytest.approx(speed / 120, abs=1e-3)
    assert by_rate["24"]["jump"]["arcmin"] == pytest.approx(
        120 * atan(jump / (6 * 1080)) * 180 / 3.14159265, abs=1e-3
    )
    speeds = {
        (f["footage"], t["timeline"]): t["speed"] for f in found["footage"] for t in f["timelines"]
    }
    assert speeds["24", "30"] == 1.25
    assert speeds["25", "30"] == 1.2


@pytest.mark.parametrize(
    "words",
    [
        TARN_HOLLOW,
        [],
        ["--speed", "0"],
        ["--pattern", "orbit", "--turn", "14", "--mains", "60", "--size", "phone-1080"],
        ["--pattern", "bars", "--cross", "2", "--rates", "480,0.1", "--footage", "24"],
        ["--display", "60", "--rates", "119.88,120", "--mains", "50"],
        ["--ev", "2", "--iso", "800", "--aperture", "1.4", "--rates", "23.976", "--mains", "60"],
    ],
)
def test_every_plan_fits_eighty_columns_and_starts_with_the_brief(words: list[str]) -> None:
    brief = plan(*words).output
    whole = plan(*words, "--details").output
    assert whole.startswith(brief)
    lines = whole.splitlines()
    assert max(map(len, lines)) <= 79
    top = "\n".join(lines[:6])
    assert "\nRate " in top
    assert "\nShutter " in top
    assert not re.search(r"\b(nan|inf|None)\b", "\n".join(lines))
    assert "local rules" in "\n".join(lines).replace("\n", " ").lower()


def pages(folder: Path) -> Path:
    """The folder, with the page and the picture of Tarn Hollow."""
    words = ("--html", str(folder / "p.html"), "--picture", str(folder / "p.png"))
    assert plan(*TARN_HOLLOW, *words).exit_code == 0
    return folder


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return pages(tmp_path_factory.mktemp("plan"))


def test_same_input_same_output(made: Path, tmp_path: Path) -> None:
    pages(tmp_path)
    for name in ("p.html", "p.png"):
        assert (made / name).read_bytes() == (tmp_path / name).read_bytes()


class Page(HTMLParser):
    """Collects what a page loads, its headings and its tables' shapes."""

    def __init__(self) -> None:
        super().__init__()
        self.sources: list[str] = []
        self.tags: list[str] = []
        self.rows: list[int] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.sources += [v or "" for k, v in attrs if k in ("src", "href")]
        if tag == "tr":
            self.rows.append(0)
        if tag in ("td", "th"):
            self.rows[-1] += 1


def test_the_page_is_self_contained_and_has_every_section(made: Path, tmp_path: Path) -> None:
    text = (made / "p.html").read_text(encoding="utf-8")
    page = Page()
    page.feed(text)
    assert page.sources
    assert all(source.startswith("data:image/png;base64,") for source in page.sources)
    assert "default-src 'none'" in text
    assert "script" not in page.tags
    assert "url(" not in text
    for part in ("1 Rate", "2 Shutter", "3 Filter", "4 Movement", "5 Conform", "7 Cautions"):
        assert f"<h2>{part}" in text
    for words in ("60 fps", "1/100 s", "ND 1.2", "--to 30", "at 125 %", "TOO FAST", "local rules"):
        assert words in text
    assert min(page.rows) >= 5
    slow = tmp_path / "slow.html"
    assert plan("--html", str(slow)).exit_code == 0
    assert "<img" not in slow.read_text(encoding="utf-8")  # nothing is past the guidance


def test_the_picture_marks_what_is_past_the_guidance(made: Path) -> None:
    with Image.open(made / "p.png") as picture:
        assert picture.width == 960
        rgb = picture.convert("RGB")
    warm = tuple(int(LIGHT.wrong[i : i + 2], 16) for i in (1, 3, 5))
    rows = sorted({y for y in range(540) for x in range(320, 352) if rgb.getpixel((x, y)) == warm})
    # From half the picture down (the limit is 0.66 of the fastest speed, at the bottom).
    assert 260 <= rows[0] <= 290
    assert rows[-1] >= 520


def test_files_that_exist_are_kept_unless_forced(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    target = tmp_path / "plan.html"
    target.write_text("mine")
    assert main(["plan", "--html", str(target)]) == 2
    assert "exists" in capsys.readouterr().err
    assert target.read_text() == "mine"
    assert main(["plan", "--html", str(target), "--force"]) == 0
    assert target.read_text().startswith("<!doctype html>")
    assert [p.name for p in tmp_path.iterdir()] == ["plan.html"]


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (["--rates", "0"], "outside 0.1 to 480"),
        (["--rates", "fast"], "is not a rate"),
        (["--display", "60:lots"], "no share after the colon"),
        (["--display", "60:0"], "add up to 0"),
        (["--display", "120-48:1"], "lower refresh first"),
        (["--mains", "55"], "50"),
        (["--lamp-depth", "140", "--mains", "50"], "outside 0 to 100 percent"),
        (["--metered", "f/2.8 1/50"], "has no ISO speed"),
        (["--metered", "ISO100 f/2.8 1/50", "--ev", "14"], "give one of the two"),
        (["--iso", "200"], "go with --ev"),
        (["--shutter", "361"], "outside 0 to 360"),
        (["--shutter", "0"], "outside 1 to 360"),
        (["--turn", "6"], "--turn is for orbit: add --pattern orbit"),
        (["--pattern", "orbit", "--speed", "5"], "--speed is for terrain"),
        (["--pattern", "bars", "--lens", "24"], "--lens is for terrain and orbit"),
        (["--pattern", "bars", "--cross", "0"], "infinitely fast"),
        (["--lens", "24", "--fov", "70"], "give one of the two"),
        (["--height", "1"], "height 1 is outside 2 to 1000 m"),
        (["--size", "huge"], "size 'huge' is unknown"),
        (["--viewing-distance", "0"], "picture heights"),
        (["--picture", "map.gif"], "neither .png nor .svg"),
    ],
)
def test_bad_input_gets_one_line_and_exit_code_2(
    words: list[str], message: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["plan", *words]) == 2
    captured = capsys.readouterr()
    assert captured.out == ""
    assert captured.err.count("\n") == 1
    assert message in captured.err


def test_missing_folder(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["plan", "--html", str(tmp_path / "no" / "plan.html")]) == 2
    captured = capsys.readouterr()
    assert "does not exist" in captured.err
    assert captured.out == ""


def test_clips_are_the_kit_of_this_move_and_these_rates(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path / "clips"
    words = ["--pattern", "bars", "--cross", "5", "--rates", "30,24", "--size", "360p"]
    words += ["--display", "60:1", "--clips", str(folder), "--seconds", "1/2", "--json"]
    assert main(["plan", *words]) == 0
    captured = capsys.readouterr()
    assert json.loads(captured.out)["schema"] == "evenhold/plan 1"
    assert "2 clips" in captured.err
    kit = json.loads((folder / "kit.json").read_text(encoding="utf-8"))
    clips = [clip for group in kit["patterns"] for clip in group["clips"]]
    assert [Fraction(clip["rate_exact"]) for clip in clips] == [24, 30]
    assert [clip["frames"] for clip in clips] == [12, 15]
    for clip in clips:  # 640 px in 5 s
        assert clip["image_motion"]["fastest"]["px_per_s"] == pytest.approx(128)
        assert (folder / clip["file"]).stat().st_size == clip["bytes"]


def test_brightness_may_be_given_as_ev() -> None:
    found = json.loads(plan("--ev", "14.644", "--rates", "25", "--json").output)
    # f/2.8, 1/50 s, ISO 100 in light of EV 14.644: 6.029 stops (computed).
    assert found["rates"][0]["filter"]["stops"] == pytest.approx(6.029, abs=1e-3)
    assert found["rates"][0]["filter"]["filters"] == [1.8]


def test_field_of_view_and_focal_length_agree() -> None:
    fov = 2 * atan(36 / 48) * 180 / 3.141592653589793  # 24 mm equivalent
    one = json.loads(plan("--lens", "24", "--json").output)
    two = json.loads(plan("--fov", f"{fov:.9f}", "--json").output)
    assert one["image_motion"] == two["image_motion"]
    assert tan(radians(fov / 2)) == pytest.approx(0.75)


def test_the_shutter_may_be_kept_by_time(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["plan", "--exposure", "1/100", "--rates", "24,50", "--json"]) == 0
    plan = json.loads(capsys.readouterr().out)
    assert plan["request"]["shutter_deg"] is None
    assert [rate["shutter"]["wished_s"] for rate in plan["rates"]] == ["1/100", "1/100"]
    assert main(["plan", "--exposure", "1/50", "--shutter", "90"]) == 2
    assert "both set the exposure" in capsys.readouterr().err
    assert main(["plan", "--exposure", "1/30", "--rates", "24,60"]) == 2
    assert "the longest allowed is 1/60 s" in capsys.readouterr().err


def floats(value: object) -> list[float]:
    if isinstance(value, dict):
        return [x for inner in value.values() for x in floats(inner)]
    if isinstance(value, list):
        return [x for inner in value for x in floats(inner)]
    return [value] if isinstance(value, float) else []


def test_json_carries_no_more_digits_than_are_true(capsys: pytest.CaptureFixture[str]) -> None:
    words = ["--pattern", "orbit", "--mains", "50", "--ev", "14", "--footage", "23.976", "--json"]
    assert main(["plan", *words]) == 0
    found = floats(json.loads(capsys.readouterr().out))
    assert len(found) > 100
    for value in found:
        assert len(f"{value:.12g}".replace(".", "").lstrip("-0").split("e")[0]) <= 5, value


def test_rate_and_motion_are_taken_from_a_file(tmp_path: Path) -> None:
    """The first file stands still; in the second a texture slides by 3.3 pixels a frame at 25."""
    slide = [frame.y.astype(np.float32) for frame in moving_texture(60, 322, 180)]
    still = encode(slide[:1] * 30, Fraction(25), tmp_path / "still.mp4", 20)
    path = encode(slide, Fraction(25), tmp_path / "slide.mp4", 20)
    done = run("plan", "--footage", f"{still},{path}", "--json", cwd=tmp_path)
    found = json.loads(done.stdout)
    assert (found["request"]["width"], found["request"]["height"]) == (322, 180)
    assert set(found["request"]["footage"]) == {"25"}
    assert found["image_motion"]["fastest_px_per_s"] == pytest.approx(3.3 * 25, rel=0.05)
    told = [line.split(": ", 2)[:2] for line in done.stderr.splitlines()]
    names = ("times", "motion", "fastest")
    assert [words for words in told if words[0] == "slide.mp4"] == [["slide.mp4", n] for n in names]
    assert "slide.mp4: motion: 3.3 px a frame" in done.stderr
    own = json.loads(
        run("plan", "--footage", f"24,{path}", "--speed", "5", "--json", cwd=tmp_path).stdout
    )
    assert own["request"]["footage"] == ["24", "25"]
    assert own["request"]["move"].startswith("forward flight")
    assert (
        "evenhold conform FILE --to 30: at 120 %"
        in run("plan", "--footage", str(path), cwd=tmp_path).stdout
    )
