"""How much memory a glTF file may ask for: a few bytes of JSON can ask for any amount.

Clips may share keys, vertices may be shared by meshes, zeros need no bytes at all: so everything
that is kept is counted, and refused before it is made.
"""

from __future__ import annotations

from dataclasses import dataclass

from kinelint.readers.gltf_buffers import Buffers
from kinelint.readers.gltf_document import Document
from kinelint.readers.options import ReadOptions


@dataclass
class Budget:
    """What one file has asked for so far, against what a file of its size may take."""

    document: Document
    buffers: Buffers
    options: ReadOptions
    spent: int = 0

    @property
    def most(self) -> int:
        """Bytes; files that the asset names count as its own."""
        return self.options.memory_for(self.buffers.container.size + self.buffers.fetched_bytes)

    def spend(self, count: int, place: str, what: str) -> None:
        """Counts so many bytes more.

        Args:
            count: bytes.
            place: JSON pointer of who asks.
            what: it asks for ("the accessor asks for 9 elements").

        Raises:
            AssetError: it is too much.
        """
        self.spent += count
        if self.spent > self.most:
            said = (
                f"{what}: {self.spent >> 20} MB, more than may be read from a file of this size "
                f"({self.most >> 20} MB)"
            )
            mend = "Split the file, or take out what is no motion."
            raise self.document.error(said, place, mend)
