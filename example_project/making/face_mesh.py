"""A face of three small patches before the head, with a morph target for each."""

from __future__ import annotations

from typing import Any

import numpy as np

from making.blob import Bin
from making.turns import Array

TARGETS = ("mouth_open", "blink_left", "blink_right")
# Middle and half size (across, up) of each patch, metres from the head joint.
_PATCHES = (
    ((0.0, 0.05, 0.11), (0.025, 0.010)),
    ((0.032, 0.12, 0.11), (0.014, 0.008)),
    ((-0.032, 0.12, 0.11), (0.014, 0.008)),
)
_OPENS_M = -0.030


def face_mesh(blob: Bin) -> dict[str, Any]:
    """The mouth's lower edge goes down, the lids' upper edges do."""
    points: list[Array] = []
    triangles: list[tuple[int, int, int]] = []
    for middle, (across, up) in _PATCHES:
        first = len(points)
        corners = ((-1, -1), (1, -1), (1, 1), (-1, 1))
        points += [np.array(middle) + np.array([x * across, y * up, 0.0]) for x, y in corners]
        triangles += [(first, first + 1, first + 2), (first, first + 2, first + 3)]
    targets = []
    for number, edge in enumerate(((0, 1), (2, 3), (2, 3))):
        moved = np.zeros((len(points), 3))
        moved[[4 * number + one for one in edge], 1] = _OPENS_M if number == 0 else -0.016
        targets.append({"POSITION": blob.add(moved, "f", bounds=True)})
    primitive = {
        "attributes": {"POSITION": blob.add(np.array(points), "f", bounds=True, target=34962)},
        "indices": blob.add(np.array(triangles).reshape(-1, 1), "H", target=34963),
        "targets": targets,
    }
    return {"name": "face", "primitives": [primitive], "extras": {"targetNames": list(TARGETS)}}
