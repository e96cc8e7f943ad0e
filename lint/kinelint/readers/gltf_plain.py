"""The accessors of a glTF file that are plain runs of floats, found all at once.

A file of many clips has ten thousand accessors, one a channel: looking at each by itself would
cost more than all else.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from kinelint.kinematics.arrays import Bools, Ints
from kinelint.readers.gltf_document import Json

_FLOAT = 5126
_WIDTHS = {"SCALAR": 1, "VEC3": 3, "VEC4": 4}
_MOST = 1 << 62


@dataclass(frozen=True)
class Plain:
    """A row for each accessor; its width is 0 where it is not plain.

    Attributes:
        starts: byte of the buffer at which it begins, a multiple of 4.
        counts: elements.
        widths: 1, 3 or 4 floats an element.
        buffers: where it lies.
    """

    starts: Ints
    counts: Ints
    widths: Ints
    buffers: Ints

    @cached_property
    def kinds(self) -> Ints:
        """One number for count, width and buffer, so that one comparison does."""
        return np.asarray((self.buffers << 44) + (self.counts << 3) + self.widths)


def plain_accessors(
    accessors: Sequence[Json], views: Sequence[Json], lengths: Sequence[int]
) -> Plain:
    """Dense 32-bit floats, end to end, inside their view, in a buffer that is there.

    Args:
        accessors: of the file.
        views: its buffer views.
        lengths: bytes of each buffer, -1 for one that is not there.
    """
    view_starts, view_sizes, view_buffers = _plain_views(views, lengths)
    column = _column([one.get("bufferView") for one in accessors], len(views))
    offsets = _column([one.get("byteOffset", 0) for one in accessors], _MOST)
    counts = _column([one.get("count") for one in accessors], _MOST)
    floats = [
        type(one.get("type")) is str
        and one.get("componentType") == _FLOAT
        and "sparse" not in one
        and _WIDTHS.get(one["type"], 0)
        for one in accessors
    ]
    widths = np.array(floats, dtype=np.intp)
    right = (column >= 0) & (offsets >= 0) & (counts > 0) & (widths > 0)
    at = np.where(right, column, 0)
    if not len(views):
        return Plain(at, counts, np.zeros_like(at), at)
    # Divided, since a product of two large numbers would wrap round.
    room = (view_sizes[at] - offsets) // (4 * np.maximum(widths, 1))
    starts = np.where(right, view_starts[at] + offsets, 0)
    right &= (view_sizes[at] >= 0) & (room >= counts) & (starts % 4 == 0)
    return Plain(starts, counts, np.where(right, widths, 0), view_buffers[at])


def _plain_views(views: Sequence[Json], lengths: Sequence[int]) -> tuple[Ints, Ints, Ints]:
    """Start, size and buffer of each; size -1 for one that is no plain run of bytes."""
    starts = _column([one.get("byteOffset", 0) for one in views], _MOST)
    sizes = _column([one.get("byteLength") for one in views], _MOST)
    buffers = _column([one.get("buffer") for one in views], len(lengths))
    plain: Bools = np.array(
        ["byteStride" not in one and "extensions" not in one for one in views], dtype=np.bool_
    )
    plain &= (starts >= 0) & (sizes >= 0) & (buffers >= 0)
    if not lengths:
        return starts, np.full_like(sizes, -1), buffers
    buffers = np.where(plain, buffers, 0)
    plain &= starts <= np.asarray(lengths, dtype=np.intp)[buffers] - sizes
    return starts, np.where(plain, sizes, -1), buffers


def _column(values: list[object], below: int) -> Ints:
    """Whole numbers from 0 to `below`, -1 for whatever else stands there."""
    if set(map(type, values)) <= {int}:
        try:
            found = np.array(values, dtype=np.intp)
        except OverflowError:
            found = np.array(
                [-1 if type(one) is not int or one >= below else one for one in values]
            )
    else:
        found = np.array(
            [one if type(one) is int and one < below else -1 for one in values], dtype=np.intp
        )
    return np.where((found >= 0) & (found < below), found, -1)
