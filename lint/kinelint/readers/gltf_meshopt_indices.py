"""The index streams of EXT_meshopt_compression and KHR_meshopt_compression.

Source: EXT_meshopt_compression, appendix A, modes 1 (triangles) and 2 (indices).
"""

from __future__ import annotations

from array import array

import numpy as np
from numpy.typing import NDArray

from kinelint.readers.gltf_meshopt import Bytes, StreamError

_TRIANGLES, _INDICES = 0xE1, 0xD1
_WORD = 0xFFFFFFFF


def triangles(data: Bytes, count: int) -> NDArray[np.uint32]:
    """Mode TRIANGLES: `count` indices, three a triangle."""
    raw = data.tobytes()
    codes, end = 1 + count // 3, len(raw) - 16
    if not raw or raw[0] != _TRIANGLES or end < codes:
        raise StreamError("is no triangle stream, or is cut off")
    return _Triangles(raw, codes, end).read(raw[1:codes])


class _Triangles:
    """The decoder's state: two queues of 16, the next new index and the last one spelled out."""

    def __init__(self, raw: bytes, at: int, end: int) -> None:
        self.raw, self.at, self.end = raw, at, end
        self.table = raw[end:]
        self.edges = [(0, 0)] * 16
        self.vertices = [0] * 16
        self.next = self.last = 0

    def read(self, codes: bytes) -> NDArray[np.uint32]:
        """All triangles."""
        out = array("I" if array("I").itemsize == 4 else "L")
        for code in codes:
            out.extend(self._edge(code) if code < 0xF0 else self._fresh(code))
        if self.at != self.end:
            raise StreamError("holds more than its triangles need")
        return np.frombuffer(out, np.uint32).copy()

    def _edge(self, code: int) -> tuple[int, int, int]:
        a, b = self.edges[-1 - (code >> 4)]
        kind = code & 15
        if kind and kind < 13:
            c = self.vertices[-1 - kind]
        else:
            c = self._new() if kind == 0 else self._spelled(kind)
            self._seen(c)
        self._joined((c, b), (a, c))
        return a, b, c

    def _spelled(self, kind: int) -> int:
        if kind == 15:
            return self._explicit()
        self.last = self.last + (1 if kind == 14 else -1) & _WORD
        return self.last

    def _fresh(self, code: int) -> tuple[int, int, int]:
        which = code & 15
        if which < 14:
            pair = self.table[which]
            a = self._new()
        else:
            pair = self._byte()
            if pair == 0:
                self.next = 0
            a = self._new() if which == 14 else self._explicit()
        b = self._either(pair >> 4, which >= 14)
        c = self._either(pair & 15, which >= 14)
        self._joined((b, a), (c, b), (a, c))
        self._seen(a)
        for vertex, kind in ((b, pair >> 4), (c, pair & 15)):
            if kind == 0 or (kind == 15 and which >= 14):
                self._seen(vertex)
        return a, b, c

    def _either(self, kind: int, spelled: bool) -> int:
        if kind == 0:
            return self._new()
        if kind == 15:
            if not spelled:
                raise StreamError("has a code that the standard rules out")
            return self._explicit()
        return self.vertices[-kind]

    def _new(self) -> int:
        self.next += 1
        return self.next - 1 & _WORD

    def _byte(self) -> int:
        if self.at >= self.end:
            raise StreamError("is cut off")
        self.at += 1
        return self.raw[self.at - 1]

    def _explicit(self) -> int:
        value = shift = 0
        while shift < 35:
            byte = self._byte()
            value |= (byte & 127) << shift
            if byte < 128:
                break
            shift += 7
        else:
            raise StreamError("has a number of more than five bytes")
        value &= 0xFFFFFFFF
        self.last = self.last + (~(value >> 1) if value & 1 else value >> 1) & _WORD
        return self.last

    def _seen(self, vertex: int) -> None:
        self.vertices = [*self.vertices[1:], vertex]

    def _joined(self, *edges: tuple[int, int]) -> None:
        self.edges = [*self.edges[len(edges) :], *edges]


def indices(data: Bytes, count: int) -> NDArray[np.uint32]:
    """Mode INDICES: `count` numbers, each told from one of two baselines."""
    if len(data) < 1 + count + 4 or data[0] != _INDICES:
        raise StreamError("is no index stream, or is cut off")
    body = data[1:-4]
    ends = np.flatnonzero(body < 128)
    starts = np.concatenate(([0], ends[:-1] + 1))
    sizes = ends - starts + 1
    if len(ends) != count or ends[-1] != len(body) - 1 or sizes.max() > 5:
        raise StreamError("does not hold the numbers that it should")
    values = np.zeros(count, dtype=np.uint64)
    for i in range(5):
        longer = sizes > i
        digits = body[starts[longer] + i].astype(np.uint64) & np.uint64(127)
        values[longer] |= digits << np.uint64(7 * i)
    words = (values & np.uint64(_WORD)).astype(np.uint32)
    deltas = np.where(words & 2, ~(words >> 2), words >> 2)
    out = np.empty(count, dtype=np.uint32)
    for baseline in (0, 1):
        own = (words & 1) == baseline
        out[own] = np.cumsum(deltas[own], dtype=np.uint32)
    return out
