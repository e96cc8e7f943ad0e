"""Deck logs: the text format in which the ferry's own recorder writes motion.

    DECKLOG 1
    rate 30
    joint pelvis none 0 0.98 0
    joint left_thigh pelvis 0.09 -0.05 0
    pose 0 0.98 0  0 0 0  12.5 0 0
    pose 0 0.97 0  0 0 0  13.1 0 0

Lengths are metres, Y is up. A joint has a name, its parent and its offset from there. A pose is
where the first joint stands and, of each joint, a rotation vector in degrees.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from kinelint import Asset, AssetError, Clip, Note, ReadOptions, Skeleton, Source

_MARK = "DECKLOG 1"
_AGAIN = "Write the log again from the recorder."


@dataclass
class _Log:
    """What the lines of a log have said so far."""

    rate_hz: float = 0.0
    names: list[str] = field(default_factory=list)
    parents: list[int] = field(default_factory=list)
    offsets_m: list[list[float]] = field(default_factory=list)
    joint_lines: list[int] = field(default_factory=list)
    poses: list[list[str]] = field(default_factory=list)
    pose_lines: list[int] = field(default_factory=list)
    remarks: int = 0


class DeckLogReader:
    """Reads a deck log as one clip, named after its file."""

    media = "decklog"
    endings = (".decklog",)
    carries = """
Carried over: all joints with their offsets, all poses with the lines they stand on, the rate.
Lengths are metres and Y is up.

Set aside with a note: remarks (lines that begin with "#").

Refused: words that are not known, joints before their parents, poses that are not whole.
"""

    def sniff(self, head: bytes, path: Path) -> bool:
        """Whether the first line is that of a deck log."""
        return head.startswith(_MARK.encode())

    def read(self, path: Path, options: ReadOptions) -> Asset:
        """The motion in the log.

        Raises:
            AssetError: with the line of what is wrong.
        """
        log = _Log()
        text = path.read_text(encoding="utf-8", errors="replace")
        for number, line in enumerate(text.split("\n"), 1):
            if line.strip() and number > 1:
                _take(log, line.split(), number, options)
        return _asset(log, path.stem)


def _take(log: _Log, words: list[str], line: int, options: ReadOptions) -> None:
    match words:
        case [word, *_] if word.startswith("#"):
            log.remarks += 1
        case ["rate", rate]:
            log.rate_hz = _numbers([rate], line)[0]
            if not 0.01 <= log.rate_hz <= 10_000:
                raise _wrong("there is no such rate", line)
        case ["joint", name, parent, *offset] if len(offset) == 3 and not log.poses:
            _take_joint(log, name, parent, line)
            log.offsets_m.append(_numbers(offset, line))
            if len(log.names) > options.max_joints:
                raise _wrong(f"there are more than the {options.max_joints} joints allowed", line)
        case ["pose", *numbers] if len(numbers) == 3 + 3 * len(log.names):
            log.poses.append(numbers)
            log.pose_lines.append(line)
            if len(log.poses) > options.max_frames:
                raise _wrong(f"there are more than the {options.max_frames} poses allowed", line)
        case _:
            raise _wrong(f"{words[0][:20]!r} is no line of a deck log, or not a whole one", line)


def _take_joint(log: _Log, name: str, parent: str, line: int) -> None:
    if name in log.names or (parent != "none" and parent not in log.names):
        raise _wrong(f"the joint {name!r} is there before, or its parent {parent!r} is not", line)
    log.names.append(name)
    log.parents.append(-1 if parent == "none" else log.names.index(parent))
    log.joint_lines.append(line)


def _numbers(words: list[str], line: int) -> list[float]:
    try:
        numbers = [float(word) for word in words]
    except ValueError:
        numbers = [np.nan]
    if not np.all(np.abs(numbers) < 1e6):
        raise _wrong(f"{' '.join(words)[:40]!r} is no number, or too large", line)
    return numbers


def _wrong(what: str, line: int) -> AssetError:
    return AssetError(what, place=f"line {line}", mend=_AGAIN)


def _asset(log: _Log, name: str) -> Asset:
    if not log.names or not log.poses or not log.rate_hz:
        raise AssetError("the log has no rate, no joint or no pose", mend=_AGAIN)
    samples = np.array(
        [_numbers(pose, line) for pose, line in zip(log.poses, log.pose_lines, strict=True)]
    )
    skeleton = Skeleton(
        tuple(log.names),
        np.array(log.parents),
        np.array(log.offsets_m),
        handles=tuple(f"line {line}" for line in log.joint_lines),
    )
    turns = samples[:, 3:].reshape(len(samples), -1, 3)
    clip = Clip(
        name,
        skeleton,
        log.rate_hz,
        _quaternions(np.radians(turns)).transpose(1, 2, 0),
        translated=np.array([0]),
        translations=samples[:, :3].T[np.newaxis],
        metres_per_unit=1.0,
        up_axis="y",
        source=Source("decklog", frame_lines=np.array(log.pose_lines)),
        notes=(Note("remarks", f"{log.remarks} remarks were left out"),) if log.remarks else (),
    )
    return Asset((clip,), skeleton)


def _quaternions(turns_rad: NDArray[np.float64]) -> NDArray[np.float64]:
    """``(..., 4)``, scalar first, of rotation vectors ``(..., 3)``."""
    half = np.linalg.norm(turns_rad, axis=-1, keepdims=True) / 2
    # sin(x) / x, which numpy has as sinc(x / pi), is 1 where nothing turns.
    return np.concatenate([np.cos(half), np.sinc(half / np.pi) * turns_rad / 2], axis=-1)
