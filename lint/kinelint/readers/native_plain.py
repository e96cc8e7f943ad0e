"""Plain values from an untrusted source, taken out one by one as what they must be."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from kinelint.kinematics.arrays import Bools, Floats, Ints
from kinelint.readers.native_wire import Array, WireError

_HALVES = re.compile("[\ud800-\udfff]")


@dataclass(frozen=True)
class Plain:
    """A table of JSON values, some of which are numbers of arrays.

    Everything that takes a value out raises WireError if it is not what was asked for. In shapes,
    None stands for any size. An array is taken out of `arrays` once: ten thousand clips that are
    all the same numbers would cost their sender nothing.
    """

    title: str
    said: Any
    arrays: list[Array | None]

    def __post_init__(self) -> None:
        if not isinstance(self.said, dict):
            raise WireError(f"{self.title} is no table")

    def get(self, key: str) -> Any:
        """Whatever it is; None if it is absent."""
        return self.said.get(key)

    def items(self, key: str) -> list[Any]:
        """A list."""
        found = self.get(key)
        if not isinstance(found, list):
            raise self._wrong(key)
        return found

    def tables(self, key: str) -> list[Plain]:
        """A list of tables."""
        return [Plain(f"{self.title}/{key}", one, self.arrays) for one in self.items(key)]

    def text(self, key: str) -> str:
        """A text; see `plain_words`."""
        return self._words(key, self.get(key))

    def texts(self, key: str) -> tuple[str, ...]:
        """A list of texts."""
        return tuple(self._words(key, one) for one in self.items(key))

    def pair(self, said: Any) -> tuple[str, str]:
        """A list of two texts."""
        if not isinstance(said, list) or len(said) != 2:
            raise self._wrong("a pair")
        return self._words("a pair", said[0]), self._words("a pair", said[1])

    def truth(self, key: str) -> bool:
        """Yes or no."""
        found = self.get(key)
        if not isinstance(found, bool):
            raise self._wrong(key)
        return found

    def number(self, key: str, *, above: float = -math.inf) -> float:
        """A finite number above a bound."""
        found = self.get(key)
        if type(found) not in (int, float) or not above < found < math.inf:
            raise self._wrong(key)
        try:
            return float(found)
        except OverflowError as error:
            raise self._wrong(key) from error

    def number_or_none(self, key: str, *, above: float = -math.inf) -> float | None:
        """A finite number above a bound, or nothing."""
        return None if self.get(key) is None else self.number(key, above=above)

    def whole(self, key: str, *, below: int) -> int:
        """A whole number from 0 on."""
        return self._whole(key, self.get(key), below)

    def whole_or_none(self, key: str, *, below: int) -> int | None:
        """A whole number from 0 on, or nothing."""
        return None if self.get(key) is None else self.whole(key, below=below)

    def numbers_by_name(self, key: str, *, below: int) -> dict[str, int]:
        """A table of whole numbers from 0 on."""
        found = self.get(key)
        if not isinstance(found, Mapping):
            raise self._wrong(key)
        return {plain_words(name): self._whole(key, one, below) for name, one in found.items()}

    def floats(self, key: str, shape: tuple[int | None, ...]) -> Floats:
        """Numbers, finite or not."""
        return self._array(key, shape, "f")

    def finite(self, key: str, shape: tuple[int | None, ...]) -> Floats:
        """Finite numbers."""
        values = self._array(key, shape, "f")
        if not np.isfinite(values).all():
            raise WireError(f"{self.title}/{key} holds what is not a number")
        return values

    def truths(self, key: str, shape: tuple[int | None, ...]) -> Bools:
        """Truths."""
        return self._array(key, shape, "b")

    def indices(
        self, key: str, shape: tuple[int | None, ...], *, below: int, lowest: int = 0
    ) -> Ints:
        """Whole numbers in a range."""
        values = self._array(key, shape, "i")
        if values.size and not (lowest <= values.min() and values.max() < below):
            raise WireError(f"{self.title}/{key} points to what is not there")
        return values.astype(np.intp, copy=False)

    def _array(self, key: str, shape: tuple[int | None, ...], kind: str) -> Array:
        number = self.whole(key, below=len(self.arrays))
        values, self.arrays[number] = self.arrays[number], None
        if values is None:
            raise WireError(f"{self.title}/{key} is an array that was used before")
        fits = values.ndim == len(shape) and all(
            wanted is None or wanted == size
            for wanted, size in zip(shape, values.shape, strict=True)
        )
        if values.dtype.kind != kind or not fits:
            wanted = ", ".join("any" if one is None else str(one) for one in shape)
            raise WireError(f"{self.title}/{key} is of shape {values.shape}, not ({wanted})")
        return values

    def _whole(self, key: str, found: Any, below: int) -> int:
        if type(found) is not int or not 0 <= found < below:
            raise self._wrong(key)
        return found

    def _words(self, key: str, found: Any) -> str:
        if not isinstance(found, str):
            raise self._wrong(key)
        return plain_words(found)

    def _wrong(self, key: str) -> WireError:
        return WireError(f"{self.title}/{key} is missing or not what it must be")


def plain_words(text: str) -> str:
    """The text with half characters, which no report can hold, replaced."""
    return text if text.isascii() else _HALVES.sub("\ufffd", text)
