"""The vertex stream of EXT_meshopt_compression and KHR_meshopt_compression, unpacked with NumPy.

Plain bytes in and out, no native code: a hostile stream can only be refused. Work and memory grow
with what comes out, whose size the caller checks first.
Sources: EXT_meshopt_compression, appendix A, mode 0; KHR_meshopt_compression (draft) for version 1.
"""

from __future__ import annotations

from array import array
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

Bytes = NDArray[np.uint8]

_OLD, _NEW = 0xA0, 0xA1
_GROUP = 16
# How many bits a delta takes, by the two header bits of its group.
_WIDTHS = {"old": (0, 2, 4, 8), 0: (0, 1, 2, 4), 1: (1, 2, 4, 8)}
_NOTHING, _LITERAL = 2, 3
# For each byte, how many of its deltas of a width are all ones: those stand behind as full bytes.
_ONES = {
    bits: bytes(
        sum(value >> shift & (1 << bits) - 1 == (1 << bits) - 1 for shift in range(0, 8, bits))
        for value in range(256)
    )
    for bits in (1, 2, 4)
}
_HEADERS = tuple(tuple(value >> shift & 3 for shift in (0, 2, 4, 6)) for value in range(256))


class StreamError(ValueError):
    """The stream is not what the standard says."""


def attributes(data: Bytes, count: int, stride: int) -> Bytes:
    """Mode ATTRIBUTES: ``(count, stride)`` bytes."""
    version = int(data[0]) if len(data) else 0
    if version not in (_OLD, _NEW):
        raise StreamError("is no vertex stream of version 0 or 1")
    channels = stride // 4 if version == _NEW else 0
    tail = max(stride + channels, 24 if version == _NEW else 32)
    if len(data) < 1 + tail:
        raise StreamError("ends before its last block")
    end = len(data) - channels
    first, modes = data[end - stride : end], data[end:]
    deltas = _Deltas(data[1 : len(data) - tail], count, stride, version == _NEW).read()
    out = np.empty((count, stride), dtype=np.uint8)
    for channel in range(stride // 4):
        rows = slice(4 * channel, 4 * channel + 4)
        mode = int(modes[channel]) if channels else 0
        out[:, rows] = _summed(deltas[rows, :count], first[rows], mode)
    return out


class _Deltas:
    """One pass over the stream to find where each group of 16 stands; then all at once."""

    def __init__(self, body: Bytes, count: int, stride: int, new: bool) -> None:
        self.body = body
        self.raw = body.tobytes()
        self.count, self.stride, self.new = count, stride, new
        self.groups = -(-count // _GROUP)
        self.out = np.zeros((stride, self.groups * _GROUP), dtype=np.uint8)
        self.ones = {bits: self.raw.translate(table) for bits, table in _ONES.items()}
        # By width: where groups stand in the stream, and which groups of the output they are.
        self.found = {bits: (array("q"), array("q")) for bits in (1, 2, 4, 8)}
        self.at = 0

    def read(self) -> Bytes:
        """``(stride, count rounded up to 16)`` deltas as stored."""
        most = min((8192 // self.stride) & ~15, 256)
        for start in range(0, self.count, most):
            self._block(start, min(most, self.count - start))
        if self.at != len(self.raw):
            raise StreamError("holds more than its elements need")
        for bits, (places, groups) in self.found.items():
            if len(places):
                self._fill(bits, np.frombuffer(places, np.int64), np.frombuffer(groups, np.int64))
        return self.out

    def _take(self, size: int) -> int:
        at = self.at
        self.at += size
        if self.at > len(self.raw):
            raise StreamError("is cut off")
        return at

    def _block(self, start: int, count: int) -> None:
        controls = self._take(self.stride // 4) if self.new else 0
        for byte in range(self.stride):
            widths: Sequence[int] = _WIDTHS["old"]
            if self.new:
                control = self.raw[controls + byte // 4] >> 2 * (byte % 4) & 3
                if control == _NOTHING:
                    continue
                if control == _LITERAL:
                    at = self._take(count)
                    self.out[byte, start : start + count] = self.body[at : at + count]
                    continue
                widths = _WIDTHS[control]
            self._data_block(widths, -(-count // _GROUP), byte * self.groups + start // _GROUP)

    def _data_block(self, widths: Sequence[int], groups: int, group: int) -> None:
        size = (groups + 3) // 4
        at = self._take(size)
        header = self.raw[at : at + size]
        for i in range(groups):
            bits = widths[_HEADERS[header[i >> 2]][i & 3]]
            if not bits:
                continue
            places, which = self.found[bits]
            places.append(self.at)
            which.append(group + i)
            packed = 2 * bits
            extra = sum(self.ones[bits][self.at : self.at + packed]) if bits < 8 else 0
            self._take(packed + extra)

    def _fill(self, bits: int, places: NDArray[np.int64], groups: NDArray[np.int64]) -> None:
        packed = self.body[places[:, None] + np.arange(2 * bits)]
        if bits < 8:
            shifts = np.arange(0, 8, bits, dtype=np.uint8)
            # One-bit deltas stand from the lowest bit on, wider ones from the highest.
            shifts = shifts if bits == 1 else shifts[::-1]
            most = (1 << bits) - 1
            packed = (packed[:, :, None] >> shifts & most).reshape(-1, _GROUP)
            rows, columns = np.nonzero(packed == most)
            rank = (np.cumsum(packed == most, axis=1) - 1)[rows, columns]
            packed[rows, columns] = self.body[places[rows] + 2 * bits + rank]
        self.out.reshape(-1, _GROUP)[groups] = packed


def _summed(deltas: Bytes, first: Bytes, mode: int) -> Bytes:
    """``(count, 4)`` bytes of a channel of deltas ``(4, count)`` from its baseline ``(4,)``."""
    if mode == 0:
        return (np.cumsum(_unfolded(deltas), axis=1, dtype=np.uint8) + first[:, None]).T
    stacked = np.ascontiguousarray(deltas.T)
    if mode == 1:
        halves = _unfolded(stacked.view("<u2"))
        pairs = np.cumsum(halves, axis=0, dtype="<u2") + first.copy().view("<u2")
        return np.asarray(pairs).view(np.uint8)
    if mode & 15 != 2:
        raise StreamError("has a channel of unknown mode")
    words, turn = stacked.view("<u4"), np.uint32(mode >> 4)
    if turn:
        words = words << turn | words >> np.uint32(32 - turn)
    summed = np.bitwise_xor.accumulate(words, axis=0) ^ first.copy().view("<u4")
    return np.asarray(summed, dtype="<u4").view(np.uint8)


def _unfolded(values: NDArray[Any]) -> NDArray[Any]:
    """Zigzag: 0, 1, 2, 3 stand for 0, -1, 1, -2 (modulo the width)."""
    one = values.dtype.type(1)
    return np.asarray(np.where(values & one, ~(values >> one), values >> one))
