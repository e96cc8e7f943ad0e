"""Which files are USD, told by their first bytes. Imports nothing native."""

from __future__ import annotations

import struct
from pathlib import Path, PurePosixPath

ENDINGS = (".usd", ".usda", ".usdc", ".usdz")
TEXT, CRATE, ZIP = b"#usda", b"PXR-USDC", b"PK\x03\x04"

CARRIES = """\
Read through usd-core; the text, the binary and the package form alike.

| of the file | becomes |
| --- | --- |
| `Skeleton` prims | a skeleton each: joints, rest and bind transforms. Joints are called \
by the last part of their token; the whole stands in their handle |
| several skeletons | each clip has its own. The asset's is the one that most skinned vertices \
follow |
| the transform of a `Skeleton` prim and of those above it, over time | a joint of its own above \
the others, unless it is always the identity |
| `SkelAnimation` prims, bound or not | a clip each, of the skeleton they are bound to; of the \
nearest that has all their joints if they are bound to none |
| joints that an animation leaves out | stay at rest |
| blend shape weights | weight channels, in the animation's order |
| `metersPerUnit`, `upAxis` | the clip's; where they are not authored, USD's defaults (0.01, Y), \
and a note says so |
| `timeCodesPerSecond`, `startTimeCode`, `endTimeCode` | seconds; keys outside the range are set \
aside. `framesPerSecond` only counts where `timeCodesPerSecond` is not authored |
| time samples, value clips, splines of transforms, layer offsets | frames, each value as USD \
itself gives it at that moment |
| meshes bound by `SkelBindingAPI` | skins, if they follow the asset's own skeleton: the four \
heaviest joints of a vertex, faces cut into triangles |
| sublayers, references, payloads, variants, instances | composed as USD does, with the variants \
that the file selects |

Not carried over: blend shape geometry and in-between shapes, dual quaternion skinning (skins are
blended linearly), shear, cameras, the motion of other prims, variants that are not selected. A note
counts what was met.

Nothing outside the asset's folder is opened: an absolute path, a remote address, a path or a link
that leads out of the folder, an asset path that is an expression and a file of another format are
refused. In a package nothing may be compressed.
"""


def sniff(head: bytes, path: Path) -> bool:
    """Whether a file that begins with `head` is a USD layer or a package of USD layers."""
    if head.startswith((TEXT, CRATE)):
        return True
    return head.startswith(ZIP) and _first_entry(head).suffix.lower() in ENDINGS


def _first_entry(head: bytes) -> PurePosixPath:
    """The name of a zip's first entry (ZIP specification, section 4.3.7: local file header)."""
    if len(head) < 30:
        return PurePosixPath("")
    (length,) = struct.unpack_from("<H", head, 26)
    return PurePosixPath(head[30 : 30 + length].decode("utf-8", "replace"))
