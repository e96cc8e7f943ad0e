"""The head of the MOTION section of a BVH file: how many frames, how fast, where they begin."""

from __future__ import annotations

import re
from dataclasses import dataclass
from math import isfinite

from kinelint.errors import AssetError
from kinelint.finding import Note

SLOWEST_S, FASTEST_S = 1.0, 1e-4
_MOTION = re.compile(rb"(?:^|(?<=\}))[ \t]*+MOTION\b", re.IGNORECASE | re.MULTILINE)
# Nothing is given back once it is matched: a megabyte of blanks would be tried in every way.
_FRAMES = re.compile(rb"\s*+FRAMES\s*+:?+\s*+([^\s:]++)", re.IGNORECASE)
_FRAME_TIME = re.compile(rb"\s*+FRAME[ \t]*+TIME\s*+:?+\s*+([^\s:]++)(\s*+)", re.IGNORECASE)
_SECONDS = re.compile(
    r"[-+]?(?:[0-9]{1,60}(?:\.[0-9]{0,60})?|\.[0-9]{1,60})(?:[eE][-+]?[0-9]{1,3})?"
)
_FILM_RATES_HZ = tuple(rate * 1000 / 1001 for rate in (24, 30, 48, 60, 120, 240))
_WHOLE_RATES_HZ = (*range(1, 241), *range(250, 1001, 10), *range(1050, 10_001, 50))
_NEAR = 0.002


@dataclass(frozen=True)
class MotionHead:
    """What stands before the numbers.

    Attributes:
        hierarchy_end: byte after the hierarchy.
        declared_frames: as the file says, right or wrong.
        sample_rate_hz: of the frame time.
        start: byte of the first number (or the end of the text).
        line: the line of that byte.
        frames_line: the line of the declared count.
        notes: what was assumed of the frame time.
    """

    hierarchy_end: int
    declared_frames: int
    sample_rate_hz: float
    start: int
    line: int
    frames_line: int
    notes: tuple[Note, ...]


def read_motion_head(text: bytes) -> MotionHead:
    """Finds MOTION and reads up to the first number.

    Raises:
        AssetError: a line is missing or says nothing usable.
    """
    motion = _MOTION.search(text)
    if motion is None:
        last = text.count(b"\n", 0, len(text.rstrip())) + 1
        mend = "The file holds a skeleton at best: export it with its animation."
        raise AssetError("there is no MOTION section", place=f"line {last}", mend=mend)
    motion_line = text.count(b"\n", 0, motion.start()) + 1
    frames = _FRAMES.match(text, motion.end())
    if frames is None:
        raise _missing("Frames:", motion_line)
    frames_line = motion_line + text.count(b"\n", motion.start(), frames.start(1))
    time = _FRAME_TIME.match(text, frames.end())
    if time is None:
        raise _missing("Frame Time:", frames_line)
    time_line = frames_line + text.count(b"\n", frames.start(1), time.start(1))
    rate, notes = sample_rate(time.group(1).decode("utf-8", "replace"), time_line)
    start = time.end(2)
    return MotionHead(
        motion.start(),
        _count(frames.group(1), frames_line),
        rate,
        start,
        time_line + text.count(b"\n", time.start(1), start),
        frames_line,
        notes,
    )


def _missing(what: str, line: int) -> AssetError:
    mend = "After MOTION come the lines 'Frames:' and 'Frame Time:', then the frames."
    return AssetError(f"no '{what}' after this line", place=f"line {line}", mend=mend)


def _count(text: bytes, line: int) -> int:
    if re.fullmatch(rb"[-+]?[0-9]{1,24}(\.0*)?", text):
        return int(text.partition(b".")[0])
    shown = text[:24].decode("utf-8", "replace")
    what = f"the number of frames is {shown!r}"
    raise AssetError(what, place=f"line {line}", mend="Write a whole number.")


def sample_rate(spelled: str, line: int) -> tuple[float, tuple[Note, ...]]:
    """Frames a second of a frame time as the file spells it, and what was assumed.

    A spelled time is a rounded one: where a whole or a film rate (n * 1000/1001) rounds or cuts
    to the very digits that the file shows, and is within 0.2 %, that rate is meant.

    Raises:
        AssetError: no time, none above zero, or none that an animation could have.
    """
    place = f"line {line}"
    mend = "Write the seconds from one frame to the next, for example 0.0333333 for 30 Hz."
    time_s = float(spelled) if _SECONDS.fullmatch(spelled) else float("nan")
    if not isfinite(time_s) or time_s <= 0.0:
        raise AssetError(f"a Frame Time of {spelled[:24]!r}", place=place, mend=mend)
    if not FASTEST_S <= time_s <= SLOWEST_S:
        what = f"a Frame Time of {spelled[:24]} s is outside {FASTEST_S:g} to {SLOWEST_S:g} s"
        raise AssetError(what, place=place, mend=mend)
    exact = 1.0 / time_s
    meant = _meant(time_s, _last_digit(spelled))
    if abs(meant / exact - 1.0) <= 1e-4:
        return meant, ()
    text = f"Frame Time {spelled} s is read as {meant:.6g} Hz, not {exact:.6g} Hz"
    return meant, (Note("sample-rate", text),)


def _last_digit(spelled: str) -> float:
    """What one unit of the last digit is worth: 1e-4 for "0.0333"."""
    mantissa, _, exponent = spelled.lower().partition("e")
    return float(10.0 ** (int(exponent or 0) - len(mantissa.partition(".")[2])))


def _meant(time_s: float, unit: float) -> float:
    for rates in (_WHOLE_RATES_HZ, _FILM_RATES_HZ):
        nearest = min(rates, key=lambda rate: abs(rate * time_s - 1.0))
        over = 1.0 / nearest - time_s
        same_digits = -0.5001 * unit <= over < max(unit, 1e-12)
        if same_digits and abs(nearest * time_s - 1.0) <= _NEAR + 1e-9:
            return float(nearest)
    return 1.0 / time_s
