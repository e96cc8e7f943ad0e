"""BVH files to clips.

The format has no standard. What was decided here, from the files that people have:

* Words are read in any letter case; a joint's name is the rest of its line. Names are UTF-8, or
  Latin-1 where they are not (a note says so). LF, CRLF and lone CR end a line.
* Rotations compose in channel order, left to right, on column vectors: "Zrotation Xrotation
  Yrotation" is R = Rz Rx Ry, in degrees. Position channels may stand between them. An axis may
  come back after another one (ZXZ); twice in a row, or a fourth rotation, is refused.
* Position channels of a root replace its OFFSET; axes without a channel keep it. On inner joints
  the file decides among three readings (see `bvh_positions`), and a note tells which.
* A joint that position channels never move from its OFFSET counts as not translated.
* An End Site is a joint "<parent> end" with `tips` set; a leaf joint without one stays a leaf.
* The frames that are there count, not the number that is announced; a note tells if they differ.
  Frames may run over lines or share one. A frame that is not complete is an error.
* The frame time is a rounded figure: a whole or film rate with the same digits within 0.2 % is
  what is meant (`bvh_motion.sample_rate`). Times outside 0.0001 to 1 s are errors.
* The format names neither a unit nor an up axis: both stay None.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from kinelint.clip import Asset, Clip, Skeleton, Source
from kinelint.errors import AssetError
from kinelint.finding import Note
from kinelint.readers import bvh_motion, bvh_pose, bvh_positions, long_turns
from kinelint.readers.bvh_hierarchy import BvhHierarchy, BvhJoint, read_hierarchy
from kinelint.readers.bvh_scales import scales
from kinelint.readers.files import read_bytes
from kinelint.readers.numbers import Block, read_block, refuse_absurd
from kinelint.readers.options import ReadOptions

_UTF8_MARK = b"\xef\xbb\xbf"
_UTF16_MARKS = (b"\xff\xfe", b"\xfe\xff")


CARRIES = """
BVH, as text in UTF-8 or Latin-1.

Carried over:

* Every joint of every root with its OFFSET, and End Sites as points that end a chain, called after
  their joint. A joint's name is the rest of its line; its handle is that line.
* Rotations in any order of channels and with any of them missing; position channels of roots and of
  inner joints. What the latter mean (in place of the OFFSET, on top of it, places in the world) is
  decided by the lengths of the bones, and noted.
* Where stored angles wrap or flip to their other reading, so that whoever draws curves through them
  turns the long way round.
* All frames, each with the lines it stands on, at the rate of the frame time: a whole or film rate
  with the same digits is what is meant.

Set aside with a note: a number of frames that is not the number of frames there are, a frame time
that was taken for the rate it is a rounded figure of.

Scale channels, which some files have, are carried over where they leave 1, and noted.

The format says nothing of units and axes: the policy does, or they are told from the figure, and
noted. It has no mesh and no names of clips: a clip is called after its file.

Refused: a hierarchy that does not close, two rotations about one axis in a row, a frame that is not
whole, frame times outside 0.0001 to 1 s, more joints or frames than the limits allow.
"""


@dataclass(frozen=True)
class BvhReader:
    """The reader of BVH files."""

    media: str = "bvh"
    endings: tuple[str, ...] = (".bvh",)
    carries: str = CARRIES

    def sniff(self, head: bytes, path: Path) -> bool:
        """Whether the first word is HIERARCHY."""
        words = head.removeprefix(_UTF8_MARK).split(maxsplit=1)
        return bool(words) and words[0].upper() == b"HIERARCHY"

    def read(self, path: Path, options: ReadOptions) -> Asset:
        """One clip, named after the file.

        Raises:
            AssetError: with the line of what is wrong.
        """
        hierarchy, head, block = _parsed(_text(path, options), options)
        joints = hierarchy.joints
        rotations = bvh_pose.local_rotations(joints, block.values)
        long = long_turns.of_euler(joints, block.values, rotations)
        moved = bvh_positions.translations(joints, rotations, block.values)
        sized = scales(joints, block.values)
        skeleton = _skeleton(joints)
        clip = Clip(
            name=path.stem,
            skeleton=skeleton,
            sample_rate_hz=head.sample_rate_hz,
            rotations=rotations,
            translated=np.array(moved.joints, dtype=np.intp),
            translations=moved.values,
            scaled=np.array(sized.joints, dtype=np.intp),
            scales=sized.values,
            long_turns=long.turns(),
            source=Source("bvh", frame_lines=block.lines),
            notes=(
                *_notes(hierarchy, head, len(block.lines)),
                *head.notes,
                *moved.notes,
                *sized.notes,
                *long.notes(),
            ),
        )
        return Asset((clip,), skeleton)


READER = BvhReader()


def _text(path: Path, options: ReadOptions) -> bytes:
    text = read_bytes(path, options)
    if text.startswith(_UTF16_MARKS):
        raise AssetError("the text is UTF-16", place="line 1", mend="Save it as UTF-8.")
    text = text.removeprefix(_UTF8_MARK)
    if text.count(b"\r") != text.count(b"\r\n"):
        text = text.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    return text


def _parsed(text: bytes, options: ReadOptions) -> tuple[BvhHierarchy, bvh_motion.MotionHead, Block]:
    """Every part of the text as values; the text itself is not needed after this."""
    sniffed = text[:4096].split(maxsplit=1)
    if sniffed and sniffed[0].upper() != b"HIERARCHY":
        read_hierarchy(text[:4096], options.max_joints)
    head = bvh_motion.read_motion_head(text)
    hierarchy = read_hierarchy(text[: head.hierarchy_end], options.max_joints)
    if not hierarchy.columns:
        mend = "Export it with its animation."
        raise AssetError("no joint has channels", place=f"line {head.line}", mend=mend)
    block = read_block(
        text, head.start, head.line, hierarchy.columns, min(head.declared_frames, len(text))
    )
    if not len(block.lines):
        mend = "Export it with its animation."
        raise AssetError("there are no frames", place=f"line {head.frames_line}", mend=mend)
    if len(block.lines) > options.max_frames:
        what = f"{len(block.lines)} frames, more than the {options.max_frames} that may be read"
        line = int(block.lines[options.max_frames])
        raise AssetError(what, place=f"line {line}", mend="Raise the limit or split the clip.")
    refuse_absurd(block)
    _refuse_bulk(hierarchy, head, len(block.lines), len(text), options)
    return hierarchy, head, block


def _refuse_bulk(
    hierarchy: BvhHierarchy,
    head: bvh_motion.MotionHead,
    frames: int,
    size: int,
    options: ReadOptions,
) -> None:
    """Joints without channels cost a file nothing, and the clip as much as any other."""
    kinds = [{one[1] for one in joint.channels or ()} for joint in hierarchy.joints]
    moving = sum(("p" in one) + ("s" in one) for one in kinds)
    most = options.memory_for(size)
    need = 8 * frames * (4 * len(hierarchy.joints) + 3 * moving)
    if need > most:
        what = (
            f"{frames} frames of {len(hierarchy.joints)} joints take {need >> 20} MB, more than "
            f"the {most >> 20} MB that a file of this size may take"
        )
        mend = "Split the clip or thin the skeleton."
        raise AssetError(what, place=f"line {head.frames_line}", mend=mend)


def _skeleton(joints: list[BvhJoint]) -> Skeleton:
    return Skeleton(
        names=tuple(joint.name for joint in joints),
        parents=np.array([joint.parent for joint in joints]),
        rest_translations=np.array([joint.offset for joint in joints], dtype=np.float64),
        tips=np.array([joint.tip for joint in joints]),
        handles=tuple(f"line {joint.line}" for joint in joints),
    )


def _notes(hierarchy: BvhHierarchy, head: bvh_motion.MotionHead, frames: int) -> tuple[Note, ...]:
    notes: list[Note] = []
    if head.declared_frames != frames:
        text = (
            f"line {head.frames_line} announces {head.declared_frames} frames; {frames} are there"
        )
        notes.append(Note("frame-count", text))
    if not hierarchy.names_are_utf8:
        notes.append(Note("encoding", "joint names are not UTF-8 and were read as Latin-1"))
    return tuple(notes)
