"""Frame rates of FBX files, and at which times a take is sampled."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

import numpy as np

from kinelint.finding import Note
from kinelint.kinematics.arrays import Floats
from kinelint.readers import sampling

# By the binding's name of the time mode. The file's own number is rounded (29.97003).
_EXACT_HZ = {
    "NTSC_DROP_FRAME": 30000.0 / 1001.0,
    "NTSC_FULL_FRAME": 30000.0 / 1001.0,
    "FILM_FULL_FRAME": 24000.0 / 1001.0,
    "E59_94_FPS": 60000.0 / 1001.0,
}
_LAST_MODE = 17  # FBX knows time modes 0 to 17 (the binding's list)
_LEAST_HZ = 23.9
_ON_GRID = 0.02  # of a step
_TIMES = (1, 2, 3, 4, 5, 6, 8, 10)
_AT_KEY = 1e-3  # of a step


def frame_rate_hz(settings: Any) -> float | None:
    """What the file says of its frames; None if it says nothing usable."""
    exact = _EXACT_HZ.get(getattr(settings.time_mode, "name", ""))
    rate = float(settings.frames_per_second) if exact is None else exact
    return rate if math.isfinite(rate) and 0.1 <= rate <= 10_000.0 else None


def rate_notes(settings: Any, time_mode: int) -> Iterator[Note]:
    """What the file says of its frames and no reader can take.

    Args:
        settings: of the scene.
        time_mode: the number in the file, which the binding replaces if it knows it not.
    """
    rate = float(settings.frames_per_second)
    if not 0 <= time_mode <= _LAST_MODE:
        text = f"the time mode {time_mode} is none of FBX's; {rate:.5g} Hz were taken"
        yield Note("sampling", text)
    elif frame_rate_hz(settings) is None:
        text = f"the file's frame rate, {rate:g} Hz, is none of motion and was set aside"
        yield Note("sampling", text)


def plan(
    begin_s: float, end_s: float, keys_s: Floats, file_hz: float | None, wanted_hz: float | None
) -> sampling.Plan:
    """Frames from the first moment of a take to its last, both exactly.

    They keep the file's own rate where every key stands on a frame of it, else take its smallest
    multiple (up to 240 Hz) where every key does, else any usual rate; keys that lie on no grid are
    sampled at `wanted_hz`, or at their densest rate, the file's own at least. A file's rate below
    24 Hz is raised to a multiple; one above 240 Hz is divided where keys allow it. Since FBX
    curves go on between keys, `wanted_hz` counts for keys on a grid too where it is finer.

    Args:
        begin_s: of the take.
        end_s: of the take.
        keys_s: ``(keys,)`` rising times of its keys, all within.
        file_hz: the rate of the file.
        wanted_hz: the rate that was asked for.
    """
    moments = np.unique(np.concatenate(([begin_s], keys_s, [end_s])))
    if end_s - begin_s <= 1e-9:
        rate = _usable(file_hz) if file_hz else sampling.LEAST_HZ
        return sampling.Plan(begin_s, begin_s, 0, rate, rate, 1e-3)
    since = moments - begin_s
    rates = [] if file_hz is None else [_usable(file_hz) * times for times in _TIMES]
    for rate in (one for one in rates if one <= sampling.MOST_HZ + 1e-6):
        if _fits(since, rate):
            if wanted_hz and wanted_hz > rate * 1.01:
                return _at_rate(begin_s, end_s, wanted_hz, rate)
            steps = round(float(since[-1]) * rate)
            if steps:
                return sampling.Plan(begin_s, end_s, steps, rate, rate, 2.05 * _ON_GRID / rate)
    found = sampling.plan(moments, wanted_hz)
    if found.key_rate_hz is not None and wanted_hz and wanted_hz > found.asked_hz * 1.01:
        return _at_rate(begin_s, end_s, wanted_hz, found.key_rate_hz)
    if found.key_rate_hz is not None or wanted_hz or file_hz is None:
        return found
    return _at_rate(begin_s, end_s, max(found.asked_hz, _usable(file_hz)), None)


def _at_rate(begin_s: float, end_s: float, rate: float, keys_hz: float | None) -> sampling.Plan:
    steps = max(math.ceil((end_s - begin_s) * rate - 1e-6), 1)
    return sampling.Plan(begin_s, end_s, steps, rate, keys_hz, 1e-3 / rate)


def _usable(file_hz: float) -> float:
    """The rate itself, or its next multiple or part between 24 and 240 Hz."""
    if file_hz < _LEAST_HZ:
        return file_hz * math.ceil(_LEAST_HZ / file_hz)
    return file_hz / math.ceil(file_hz / sampling.MOST_HZ - 1e-9)


def _fits(since: Floats, rate: float) -> bool:
    steps = since * rate
    return bool(np.all(np.abs(steps - np.rint(steps)) <= _ON_GRID))


def frame_times(plan: sampling.Plan, keys_s: Floats) -> Floats:
    """``(frames,)`` times at which to ask; a frame next to a key asks at the key itself.

    A value that is held until a key must have changed in the frame that stands on the key.
    """
    times = plan.times_s
    if not len(keys_s):
        return times
    after = np.minimum(np.searchsorted(keys_s, times), len(keys_s) - 1)
    before = np.maximum(after - 1, 0)
    nearer = np.abs(keys_s[before] - times) < np.abs(keys_s[after] - times)
    key = keys_s[np.where(nearer, before, after)]
    return np.where(np.abs(key - times) * plan.asked_hz <= _AT_KEY, key, times)
