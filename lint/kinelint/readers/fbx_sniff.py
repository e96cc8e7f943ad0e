"""Whether a file is FBX, told from its first bytes, and what its reader carries over.

Imports nothing of the binding.
"""

from __future__ import annotations

import re
from pathlib import Path

CARRIES = """
FBX 6.1 to 7.7, binary and ASCII.

Carried over:

* Joints: bones, what a skin binds, what a take moves, all nodes above them, and empty nodes below
  (sockets, ends of chains). Names stay as they are, with namespaces and prefixes.
* The rest pose: the bind pose where the file has one; else, where pre-rotations make a pose, the
  one with all rotation channels at zero, with a note; else each node's own transform.
* Every take (animation stack) that moves a joint or a blend shape, with all its layers: additive,
  override, weights, also animated ones. Rotation orders, pre- and post-rotations, pivots and
  offsets, and the three ways of taking a parent's scale.
* Times: a frame stands exactly on the first and on the last moment of the take. The file's own
  frame rate is kept (29.97 is 30000/1001) where all keys stand on its frames, else its smallest
  multiple on which they do; keys on no grid are sampled at the policy's rate or their densest. A
  policy's rate that is finer than the keys' is taken.
* Lengths in metres and axes right-handed with Y up; a left-handed scene is mirrored and noted.
* Weights of blend shapes. Skins with the four strongest joints of each vertex, and meshes that hang
  on a joint, at the bind pose, with geometric transforms.

Changed on the way: a scale that is even and constant goes into the offsets below it; a scale that
children do not take wholly goes into positions. Positions stay exact either way.

Not told: where curves of Euler angles wrap or flip to their other reading.

Set aside with a note: other animated properties (cameras, lights, visibility, custom attributes),
constraints and control rigs, keys outside the take's time, muted layers beside several others,
layers set to play alone, interpolation of rotations as quaternions, spheric rotation order, caches
of moving vertices, more than four joints a vertex, takes that move nothing, frame rates and axes
that are none.

Not read, without a note: materials, textures, normals, embedded and external files, audio.

Refused: damaged files, texts that were cut short even between two records, a unit of length that
is no number above 0, transforms that are no numbers, more joints or frames than the limits allow.
"""

# A binary file begins with a name of eight letters that means nothing here, then this.
_BINARY = b"FBX Binary  \x00\x1a\x00"
_BINARY_AT = 8
_COMMENT = re.compile(rb"\s*;\s*FBX\s+\d")
_HEADER = re.compile(rb"^\s*FBXHeaderExtension\s*:", re.MULTILINE)


def sniff(head: bytes, path: Path) -> bool:
    """True for binary FBX by its mark, for ASCII FBX by its usual comment or its header.

    Args:
        head: the first bytes of the file.
        path: of the file; not opened, and not asked: the registry goes by endings itself.
    """
    if head[_BINARY_AT : _BINARY_AT + len(_BINARY)] == _BINARY:
        return True
    text = head.removeprefix(b"\xef\xbb\xbf")
    return _COMMENT.match(text) is not None or _HEADER.search(text) is not None
