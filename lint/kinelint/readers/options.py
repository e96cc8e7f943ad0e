"""What a caller may ask of a reader."""

from __future__ import annotations

from dataclasses import dataclass

from kinelint.clip import LARGEST as LARGEST

# What a file may become: this, and so many times its size. Curves are sampled, and joints that a
# file only names have poses as well.
BASE_BYTES = 768 << 20
TIMES_FILE_SIZE = 64


@dataclass(frozen=True, slots=True)
class ReadOptions:
    """How to read, and how much a single file may ask for.

    Attributes:
        sample_rate_hz: the rate at which clips with non-uniform keys are sampled; None takes the
            densest uniform rate of their keys. Formats that store every frame ignore it.
        max_bytes: the largest file that is read.
        max_frames: the most frames that one clip may have.
        max_joints: the most joints that one skeleton may have.
        max_seconds: how long a format that needs native code may take for one file.
        max_memory_bytes: the most memory that what is read from one file may take.
    """

    sample_rate_hz: float | None = None
    max_bytes: int = 1 << 30
    max_frames: int = 2_000_000
    max_joints: int = 5_000
    max_seconds: float = 60.0
    max_memory_bytes: int = 4 << 30

    def memory_for(self, file_bytes: int) -> int:
        """The memory that what is read from a file of this size may take.

        A reader refuses a file before it allocates more. On top of it comes what parsing needs,
        see DEVELOPERS.md, "Hostile input".
        """
        return min(BASE_BYTES + TIMES_FILE_SIZE * file_bytes, self.max_memory_bytes)
