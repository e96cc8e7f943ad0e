"""A small BVH writer for tests, and the shortest way from text to a clip."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

from kinelint.clip import Clip
from kinelint.readers import read


@dataclass
class Bone:
    """A joint to be written; `channels` as they stand in the file."""

    name: str
    offset: tuple[float, float, float] = (0.0, 10.0, 0.0)
    channels: Sequence[str] = ()
    children: list[Bone] = field(default_factory=list)
    end: tuple[float, float, float] | None = None


def rotations(order: str) -> list[str]:
    """Channel names of "ZXY"."""
    return [f"{axis}rotation" for axis in order]


POSITIONS = ["Xposition", "Yposition", "Zposition"]


def numbers(values: Sequence[float]) -> str:
    return " ".join(repr(float(one)) for one in values)


def hierarchy(bones: Sequence[Bone], newline: str = "\n", gap: str = " ") -> str:
    """The HIERARCHY section of several roots, brace on a line of its own."""
    lines = ["HIERARCHY"]
    for bone in bones:
        _write(bone, "ROOT", lines, gap)
    return newline.join(lines) + newline


def _write(bone: Bone, kind: str, lines: list[str], gap: str) -> None:
    lines += [f"{kind}{gap}{bone.name}", "{", f"OFFSET{gap}{numbers(bone.offset)}"]
    lines.append(gap.join(["CHANNELS", str(len(bone.channels)), *bone.channels]))
    for child in bone.children:
        _write(child, "JOINT", lines, gap)
    if bone.end is not None:
        lines += ["End Site", "{", f"OFFSET{gap}{numbers(bone.end)}", "}"]
    lines.append("}")


def motion(rows: Sequence[Sequence[float]], frame_time: str = "0.0333333") -> str:
    """The MOTION section, a frame a line."""
    head = f"MOTION\nFrames: {len(rows)}\nFrame Time: {frame_time}\n"
    return head + "".join(numbers(row) + "\n" for row in rows)


def clip_of(text: str | bytes, folder: Path, name: str = "clip.bvh") -> Clip:
    """The one clip of a file that holds this text."""
    path = folder / name
    path.write_bytes(text.encode() if isinstance(text, str) else text)
    (clip,) = read(path).clips
    return clip


PLAIN = """HIERARCHY
ROOT hips
{
  OFFSET 0 90 0
  CHANNELS 6 Xposition Yposition Zposition Zrotation Xrotation Yrotation
  JOINT chest
  {
    OFFSET 0 30 0
    CHANNELS 3 Zrotation Xrotation Yrotation
    End Site
    {
      OFFSET 0 20 0
    }
  }
}
MOTION
Frames: 3
Frame Time: 0.0333333
1 90 3 10 20 30 4 5 6
2 91 4 11 21 31 5 6 7
3 92 5 12 22 32 6 7 8
"""
