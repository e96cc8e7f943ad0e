"""Which files are USD, told by their first bytes. Imports nothing native."""

from __future__ import annotations

import struct
from pathlib import Path, PurePosixPath

ENDINGS = (".usd", ".usda", ".usdc", ".usdz")
TEXT, CRATE, ZIP = b"#usda", b"PXR-USDC", b"PK\x03\x04"

CARRIES = """
OpenUSD with UsdSkel: text, binary and package.

Carried over:

* Every `Skeleton` prim with its joints and rest transforms. A joint is called by the last part of
  its token; its handle is the prim's path and the token.
* The transform of a `Skeleton` prim and of the prims above it, also animated ones, as a joint of
  its own above the others. It is left out where it is always the identity.
* Every `SkelAnimation`, bound or not, as a clip: of the skeleton that it is bound to, else of the
  nearest that has all its joints. Joints that it leaves out stay at rest.
* Several skeletons: each clip has its own. The asset's is the one that most of the skins follow.
* Times: time codes by `timeCodesPerSecond`, within `startTimeCode` and `endTimeCode`. Each frame is
  as USD itself gives it at that moment: time samples, value clips, blocks, layer offsets, splines
  of transforms. A frame stands exactly on the first and on the last key.
* Between which frames quaternions change their sign.
* Weights of blend shapes, in the animation's order. Meshes of the asset's skeleton as skins at the
  bind pose, with the four heaviest joints of each vertex and faces cut into triangles.
* Sublayers, references, payloads, instances and the selected variants, composed by USD.
* `metersPerUnit` and `upAxis`; where they are not authored USD's defaults (0.01, Y), with a note.

Set aside with a note: keys outside the stage's time, meshes of other skeletons and of none, blend
shape geometry and in-between shapes, dual quaternion skinning, shear, cameras, the motion of other
prims, variants that are not selected, more than four joints a vertex.

Not read, without a note: materials, lights, points that move without a skeleton.

Refused: whatever lies outside the asset's folder (absolute paths, remote addresses, paths and links
that lead out), asset paths that are expressions, other formats as layers, references that lead
nowhere or in a circle, compressed packages, more joints or frames than the limits allow. A USD file
under the ending of another format is known by its content and refused by its ending, since USD
itself opens layers by their endings: rename it.
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
