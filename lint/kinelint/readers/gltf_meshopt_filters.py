"""What EXT_meshopt_compression does to elements after unpacking.

Source: EXT_meshopt_compression, appendix B (filters).
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from kinelint.readers.gltf_meshopt import Bytes


def octahedral(raw: Bytes) -> Bytes:
    """Filter OCTAHEDRAL of ``(count, 4 or 8)``: unit vectors as normalised integers."""
    wide = raw.shape[1] == 8
    stored = np.ascontiguousarray(raw).view("<i2" if wide else "<i1")
    most = 32767.0 if wide else 127.0
    one = np.where(stored[:, 2] == 0, 1, stored[:, 2]).astype(np.float64)
    x, y = stored[:, 0] / one, stored[:, 1] / one
    z = 1.0 - np.abs(x) - np.abs(y)
    fold = np.minimum(z, 0.0)
    found = np.stack((x - np.copysign(fold, x), y - np.copysign(fold, y), z), axis=1)
    lengths = np.linalg.norm(found, axis=1, keepdims=True)
    out = stored.copy()
    out[:, :3] = _rounded(found / np.where(lengths > 0.0, lengths, 1.0) * most)
    return out.view(np.uint8)


def quaternion(raw: Bytes) -> Bytes:
    """Filter QUATERNION of ``(count, 8)``: rotations as normalised 16-bit integers."""
    stored = np.ascontiguousarray(raw).view("<i2")
    one = (stored[:, 3:] | 3).astype(np.float64)
    small = stored[:, :3] / one / np.sqrt(2.0)
    large = np.sqrt(np.maximum(0.0, 1.0 - np.sum(small * small, axis=1, keepdims=True)))
    turned = (stored[:, 3:] & 3) + np.array([1, 2, 3, 0])
    out = np.empty_like(stored)
    values = np.clip(_rounded(np.hstack((small, large)) * 32767.0), -32768, 32767)
    np.put_along_axis(out, turned.astype(np.intp) % 4, values.astype("<i2"), axis=1)
    return out.view(np.uint8)


def exponential(raw: Bytes) -> Bytes:
    """Filter EXPONENTIAL of ``(count, 4 n)``: 32-bit floats."""
    stored = np.ascontiguousarray(raw).view("<i4")
    with np.errstate(over="ignore", under="ignore"):
        floats = np.ldexp((stored << 8 >> 8).astype(np.float64), stored >> 24).astype("<f4")
    found: Bytes = floats.view(np.uint8)
    return found


def _rounded(values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Halves away from zero, as the standard has it."""
    return np.asarray(np.copysign(np.floor(np.abs(values) + 0.5), values))


FILTERS: dict[str, tuple[tuple[int, ...], Callable[[Bytes], Bytes]]] = {
    "OCTAHEDRAL": ((4, 8), octahedral),
    "QUATERNION": ((8,), quaternion),
    "EXPONENTIAL": (tuple(range(4, 257, 4)), exponential),
}
"""By name: the strides that a filter may have, and the filter."""
