"""What a file of the clip holds, in plain words."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

from patterns.reading.reading import Reading
from patterns.reading.sightings import Watched
from patterns.reading.words import speed_words
from patterns.timing.conform import Conform
from patterns.timing.notation import counted, first_turn, number_list, pattern_text
from patterns.timing.rates import format_decimal, format_rate
from patterns.video.description import Damage

SAME_SPEED = 0.0002


def _untouched(reading: Reading, file_rate: Fraction | None) -> bool:
    return (
        file_rate == reading.rate
        and not (reading.dropped or reading.unseen or reading.repeated)
        and not (reading.blended or reading.out_of_order)
        and not reading.details["steps_back"]
        and not reading.details["other_clips"]
        and reading.read == reading.pictures
    )


def _differences(reading: Reading) -> str:
    counts = (
        (len(reading.dropped), "dropped"),
        (len(reading.repeated), "shown more than once"),
        (reading.details["mixed_pictures"], "mixed"),
        (len(reading.out_of_order), "out of order"),
        (len(reading.unseen), "not seen"),
    )
    words = [
        f"{counted(count, 'picture' if what == 'mixed' else 'frame')} {what}"
        for count, what in counts
        if count
    ]
    if back := reading.details["steps_back"]:
        words.append(f"it steps back {counted(back, 'time')}")
    return ", ".join(words) or "no frame dropped, repeated, mixed or out of order"


def clip_verdict(reading: Reading, file_rate: Fraction | None, damage: Damage) -> str:
    """One sentence: whether the file holds the clip's frames as they were made."""
    if not reading.read:
        return "nothing was read: no picture shows a strip that could be read"
    if damage.inside:
        return (
            f"the file is damaged: {reading.read} of {reading.pictures} pictures read, and whether "
            "frames are missing or repeated cannot be known"
        )
    if reading.rate is None:
        return (
            f"{reading.read} of {reading.pictures} pictures read, but none gives the clip's rate; "
            f"{_differences(reading)}"
        )
    seconds = f"in {reading.seconds:.1f} s"
    claimed = format_rate(reading.rate)
    up_to = "cut off; up to there " if damage else ""
    if damage.end_unknown and not damage:
        up_to = "as far as the file goes, "
    if _untouched(reading, file_rate):
        return (
            f"{up_to}as it was made: every frame once and in order at {claimed} frames a second, "
            f"{reading.pictures} pictures {seconds}"
        )
    if file_rate == reading.rate:
        found = f"{claimed} frames a second as claimed"
    else:
        even = file_rate and f"{format_rate(file_rate)} pictures a second"
        found = f"{even or 'unevenly timed pictures'} where the strip claims {claimed}"
    return f"{up_to}{found}; {_differences(reading)} {seconds}"


def _converted(reading: Reading, file_rate: Fraction) -> Iterator[str]:
    """Tell a rate conversion by what it left behind."""
    rate = reading.rate
    assert rate is not None
    conform = Conform(rate, file_rate)
    names = f"{format_decimal(rate)} put on a {format_decimal(file_rate)} timeline"
    if reading.blended:
        share = reading.details["mixed_pictures"] / max(1, reading.read)
        yield (
            f"{names} by mixing: {100 * share:.0f} % of the pictures are two frames at once "
            f"(the arithmetic of even mixing gives {100 * float(conform.mixed_share):.0f} %). "
            "They look soft where something moves: export at the clip's own rate."
        )
        return
    if reading.repeated or reading.dropped:
        pattern = "" if reading.pattern is None else f" (measured {pattern_text(reading.pattern)})"
        yield (
            f"{names} at its own speed: {conform.repeat_words}{pattern}. "
            "Export at the clip's own rate."
        )


def clip_explanation(reading: Reading, file_rate: Fraction | None) -> tuple[str, ...]:
    """Why the file is not as the clip was made."""
    if reading.rate is None or not reading.read:
        return ()
    found, speed = list(_edited(reading)), reading.speed
    if speed is not None and abs(speed - 1) > SAME_SPEED:
        runs = speed_words(reading.rate, speed, digits=3)
        found.append(f"{runs}: its frames were conformed to another timeline.")
    elif file_rate is not None and file_rate != reading.rate:
        found.extend(_converted(reading, file_rate))
    elif file_rate is not None and reading.dropped and reading.repeated:
        found.append(
            "Frames are missing and others fill their places: whatever wrote the file was too "
            "slow, or converted the rate there and back."
        )
    held, expected = reading.pattern, reading.expected
    due = None if expected is None or reading.blended else expected.pattern
    if held and due and 0 not in due and first_turn(held) != first_turn(due):
        found.append(
            f"Repeating alone would hold frames {pattern_text(due)} pictures; "
            f"here they are held {pattern_text(held)}."
        )
    return tuple(found)


def _edited(reading: Reading) -> Iterator[str]:
    """Tell cuts, joins and loops from frames that were lost one by one."""
    details = reading.details
    if details["reversed"]:
        yield "The frame numbers run backwards: the clip was reversed."
    if details["cuts"]:
        times = counted(details["cuts"], "time")
        yield (
            f"The numbers jump ahead {times} without the time for it: frames were cut out, or "
            "pieces joined."
        )
    if details["steps_back"]:
        times = counted(details["steps_back"], "time")
        yield (
            f"The numbers step back {times} and resume from there: pieces were joined, or the clip "
            "is looped. Timing is judged in each stretch by itself."
        )


def clip_warnings(
    reading: Reading, file_rate: Fraction | None, watched: Watched, damage: Damage
) -> Iterator[str]:
    """Doubts, each with what to do."""
    if damage.inside:
        yield (
            "The decoder met damage and filled it with older pictures: what they show is not what "
            "the file once held. Try a fresh copy."
        )
    elif damage:
        yield "The file is cut off: only what came before is judged. Try a fresh copy."
    if reading.read < reading.pictures:
        yield (
            f"{reading.pictures - reading.read} of {reading.pictures} pictures were not read: "
            "ask the platform for a larger version, or crop less of the strip."
        )
    if reading.read and file_rate is None and reading.pictures > 2:
        yield (
            "The file's timestamps are not even: players that trust them hold frames unevenly, "
            "others ignore them. Ask for a constant frame rate when you export."
        )
    if reading.unseen:
        listed = number_list(reading.unseen)
        yield f"Nothing can be known of frames {listed}, beside unread pictures."
    if watched.other_clips:
        yield (
            f"More than one clip is in the file: {counted(watched.other_clips, 'picture')} of "
            "others are left out, only the one that most pictures show is judged."
        )
