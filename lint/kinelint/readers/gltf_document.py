"""The JSON of a glTF file, read with its types checked and every fault named by JSON pointer."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, TypeAlias

from kinelint.clip import LARGEST
from kinelint.errors import AssetError
from kinelint.readers.short import LONGEST_NAME

Json: TypeAlias = dict[str, Any]


@dataclass(frozen=True)
class Document:
    """The tree, and the path by which the user knows the file.

    `place` arguments are JSON pointers (RFC 6901) to the object that is looked into.
    """

    tree: Json
    path: str = ""
    _tables: dict[str, list[Json]] = field(default_factory=dict, repr=False)

    def error(self, what: str, place: str, mend: str = "Export the file again.") -> AssetError:
        """An error to raise."""
        return AssetError(what, path=self.path, place=place, mend=mend)

    def objects(self, holder: Json, key: str, place: str) -> list[Json]:
        """A list of objects; empty if there is none."""
        found = holder.get(key, [])
        if type(found) is not list:
            raise self.error("must be a list", f"{place}/{key}")
        if not set(map(type, found)) <= {dict}:
            wrong = next(i for i, item in enumerate(found) if type(item) is not dict)
            raise self.error("must be an object", f"{place}/{key}/{wrong}")
        return found

    def table(self, name: str) -> list[Json]:
        """A top-level list of objects ("nodes", "accessors", …)."""
        if name not in self._tables:
            self._tables[name] = self.objects(self.tree, name, "")
        return self._tables[name]

    def object(self, holder: Json, key: str, place: str) -> Json:
        """An object that must be there."""
        found = holder.get(key)
        if type(found) is not dict:
            raise self.error("must be an object", f"{place}/{key}")
        return found

    def inner(self, holder: Any, *keys: str) -> Any:
        """The value under nested keys, None as soon as one is missing: for extensions."""
        for key in keys:
            holder = holder.get(key) if type(holder) is dict else None
        return holder

    def whole(self, holder: Json, key: str, place: str, default: int | None = None) -> int:
        """A number of 0 or more without a fraction."""
        found = holder.get(key, default)
        if type(found) is not int or found < 0:
            raise self.error("must be a whole number, 0 or more", f"{place}/{key}")
        return found

    def reference(self, holder: Json, key: str, size: int, place: str) -> int:
        """An index into a table of `size`."""
        found = holder.get(key)
        if type(found) is not int or not 0 <= found < size:
            raise self.error(f"must be a whole number below {size}", f"{place}/{key}")
        return found

    def references(self, holder: Json, key: str, size: int, place: str) -> list[int]:
        """A list of indices into a table of `size`; empty if there is none."""
        found = holder.get(key, [])
        if type(found) is not list:
            raise self.error("must be a list", f"{place}/{key}")
        for i, item in enumerate(found):
            if type(item) is not int or not 0 <= item < size:
                raise self.error(f"must be a whole number below {size}", f"{place}/{key}/{i}")
        return found

    def numbers(self, holder: Json, key: str, size: int, place: str) -> list[float] | None:
        """`size` finite numbers of sane size; None if the key is missing."""
        found = holder.get(key)
        if found is None:
            return None
        right = type(found) is list and len(found) == size
        if not right or not all(type(x) in (int, float) and abs(x) <= LARGEST for x in found):
            what = f"must be {size} numbers, none of them beyond {LARGEST:g}"
            raise self.error(what, f"{place}/{key}")
        return [float(x) for x in found]

    def name(self, holder: Json, place: str) -> str:
        """What an object is called; "" if it has no name."""
        found = self.text(holder, "name", place)
        if len(found) > LONGEST_NAME:
            what = f"a name of {len(found)} characters; {LONGEST_NAME} are the most"
            raise self.error(what, f"{place}/name", "Give it a shorter name.")
        return found

    def text(self, holder: Json, key: str, place: str, default: str = "") -> str:
        """A string."""
        found = holder.get(key, default)
        if type(found) is not str:
            raise self.error("must be a text", f"{place}/{key}")
        return found
