"""The HIERARCHY section of a BVH file: joints, offsets, channels, and the line of each."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from math import isfinite

from kinelint.clip import LARGEST
from kinelint.errors import AssetError
from kinelint.readers.short import LONGEST_NAME, short_line

_CHANNEL = re.compile(r"([xyz])(position|rotation|scale)", re.IGNORECASE)
# Braces are words of their own even where they touch a name.
_WORD = re.compile(rb"\n|[{}]|[^\s{}]++")
_LONGEST_NUMBER = 400
_KEYWORDS = ("ROOT", "JOINT", "END", "OFFSET", "CHANNELS", "{", "}")


@dataclass
class BvhJoint:
    """One joint or End Site as the file has it.

    Attributes:
        name: as written; "<parent> end" for an End Site.
        line: of the name.
        parent: index, -1 for a root.
        tip: whether it is an End Site.
        offset: in file units.
        channels: axis and kind in file order: "Xp" is a position, "Xr" a rotation, "Xs" a scale.
        column: of its first channel in a frame's row.
    """

    name: str
    line: int
    parent: int
    tip: bool = False
    offset: tuple[float, float, float] | None = None
    channels: tuple[str, ...] | None = None
    column: int = 0

    @property
    def rotation_order(self) -> str:
        """Axes of the rotation channels in file order: "ZXY", "X", ""."""
        return "".join(one[0] for one in self.channels or () if one[1] == "r")

    @property
    def has_positions(self) -> bool:
        """Whether any channel is a position."""
        return any(one[1] == "p" for one in self.channels or ())


@dataclass
class _Word:
    text: bytes
    line: int
    last_in_line: bool


@dataclass
class BvhHierarchy:
    """All joints, parents before children."""

    joints: list[BvhJoint]
    columns: int
    names_are_utf8: bool = True


def read_hierarchy(text: bytes, max_joints: int) -> BvhHierarchy:
    """The joints of the text before the word MOTION.

    Raises:
        AssetError: with the line of what is wrong.
    """
    parser = _Parser(text, max_joints)
    parser.run()
    return BvhHierarchy(parser.joints, parser.columns, parser.utf8)


def _words(text: bytes) -> Iterator[_Word]:
    """Word by word, so that no more is held than the longest."""
    line = 1
    last: _Word | None = None
    for match in _WORD.finditer(text):
        word = match[0]
        if last is not None:
            last.last_in_line = word == b"\n"
            yield last
        line += word == b"\n"
        last = None if word == b"\n" else _Word(word, line, True)
    if last is not None:
        yield last


class _Parser:
    """A loop over words with a stack of open joints; depth costs no recursion."""

    def __init__(self, text: bytes, max_joints: int) -> None:
        self.words = _words(text)
        self.next: _Word | None = next(self.words, None)
        self.max_joints = max_joints
        self.joints: list[BvhJoint] = []
        self.open: list[int] = []
        self.columns = 0
        self.utf8 = True

    def run(self) -> None:
        line = self.next.line if self.next else 1
        if self._peek().upper() != b"HIERARCHY":
            raise _wrong("a BVH file begins with the word HIERARCHY", line, "Export it as BVH.")
        self._take()
        while self.next is not None:
            self._statement()
        if self.open:
            joint = self.joints[self.open[-1]]
            raise _wrong(f"the brace of {_name(joint)} is never closed", joint.line, "Add a '}'.")
        if not self.joints:
            raise _wrong("the hierarchy has no joints", line, "Export it again.")

    def _statement(self) -> None:
        word = self._take()
        keyword = word.text.upper()
        if keyword in (b"ROOT", b"JOINT"):
            self._joint(word, keyword == b"ROOT")
        elif keyword in (b"END", b"ENDSITE"):
            self._end_site(word)
        elif keyword == b"OFFSET":
            self._offset(word)
        elif keyword == b"CHANNELS":
            self._channels(word)
        elif keyword == b"}":
            self._close(word)
        else:
            raise _wrong(
                f"{_shown(word.text)} where one of {', '.join(_KEYWORDS)} is due",
                word.line,
                "Correct the line or export the clip again.",
            )

    def _take(self) -> _Word:
        word = self.next
        assert word is not None, "callers look before they take"
        self.next = next(self.words, None)
        return word

    def _peek(self) -> bytes:
        return self.next.text if self.next else b""

    def _joint(self, word: _Word, root: bool) -> None:
        if root and self.open:
            raise _wrong("a ROOT inside another joint", word.line, "Close the braces before it.")
        if not root and not self.open:
            raise _wrong("a JOINT outside any ROOT", word.line, "Name the first joint ROOT.")
        parts: list[bytes] = []
        line, length = word.line, 0
        # A name may hold blanks: it is the rest of its line, or the next line if that is empty.
        while self._peek() not in (b"{", b"}", b""):
            part = self._take()
            line = part.line if not parts else line
            parts.append(part.text)
            length += len(part.text) + 1
            if length > LONGEST_NAME:
                what = f"a name of more than {LONGEST_NAME} bytes"
                raise _wrong(what, line, "Rename the joint.")
            if part.last_in_line:
                break
        self._open_joint(BvhJoint(self._decoded(b" ".join(parts)), line, self._parent()))

    def _end_site(self, word: _Word) -> None:
        if not self.open:
            raise _wrong("an End Site outside any joint", word.line, "Remove it.")
        while self._peek() not in (b"{", b"}", b""):
            if self._take().last_in_line:
                break
        parent = self._parent()
        name = f"{self.joints[parent].name} end"
        self._open_joint(BvhJoint(name, word.line, parent, tip=True, channels=()))

    def _parent(self) -> int:
        return self.open[-1] if self.open else -1

    def _decoded(self, name: bytes) -> str:
        try:
            return name.decode("utf-8")
        except UnicodeDecodeError:
            self.utf8 = False
            return name.decode("latin-1")

    def _open_joint(self, joint: BvhJoint) -> None:
        if joint.parent >= 0 and self.joints[joint.parent].tip:
            raise _wrong("an End Site has no children", joint.line, "Close its brace before.")
        if self._peek() != b"{":
            raise _wrong(f"no '{{' after {_name(joint)}", joint.line, "Add it.")
        if len(self.joints) >= self.max_joints:
            what = f"more than {self.max_joints} joints"
            raise _wrong(what, joint.line, "Raise the limit or thin the skeleton.")
        self._take()
        self.open.append(len(self.joints))
        self.joints.append(joint)

    def _close(self, word: _Word) -> None:
        if not self.open:
            raise _wrong("a '}' that nothing opened", word.line, "Remove it.")
        joint = self.joints[self.open.pop()]
        if joint.offset is None:
            raise _wrong(f"{_name(joint)} has no OFFSET", word.line, "Add three numbers.")

    def _current(self, word: _Word) -> BvhJoint:
        if not self.open:
            what = f"{word.text.decode().upper()} outside any joint"
            raise _wrong(what, word.line, "Move it between a joint's braces.")
        return self.joints[self.open[-1]]

    def _offset(self, word: _Word) -> None:
        joint = self._current(word)
        if joint.offset is not None:
            raise _wrong(f"{_name(joint)} has two OFFSETs", word.line, "Remove one.")
        x, y, z = (self._number(joint, word) for _ in range(3))
        joint.offset = (x, y, z)

    def _number(self, joint: BvhJoint, word: _Word) -> float:
        if self._peek() in (b"", b"{", b"}"):
            what = f"the OFFSET of {_name(joint)} needs three numbers"
            raise _wrong(what, word.line, "Complete it.")
        part = self._take()
        try:
            value = float(part.text) if len(part.text) <= _LONGEST_NUMBER else float("nan")
        except ValueError:
            value = float("nan")
        shown = f"{_shown(part.text)} in the OFFSET of {_name(joint)}"
        if not isfinite(value) or b"_" in part.text:
            what = f"{shown} is not a finite number"
            raise _wrong(what, part.line, "Write three numbers with decimal points.")
        if abs(value) > LARGEST:
            raise _wrong(f"{shown} is larger than any bone", part.line, "Export the clip again.")
        return value

    def _channels(self, word: _Word) -> None:
        joint = self._current(word)
        if joint.channels is not None:
            what = f"{_name(joint)} may not have CHANNELS here"
            raise _wrong(what, word.line, "A joint has one CHANNELS line, an End Site none.")
        count = self._take() if self.next else word
        if not count.text.isdigit():
            what = f"CHANNELS of {_name(joint)} needs a count, not {_shown(count.text)}"
            raise _wrong(what, count.line, "Write how many channels follow.")
        names: list[str] = []
        while self._is_channel():
            part = self._take().text.decode()
            names.append(part[0].upper() + part[1].lower())
        self._check_count(joint, count, len(names))
        self._check_repeats(joint, names, word.line)
        joint.channels, joint.column = tuple(names), self.columns
        self.columns += len(names)

    def _is_channel(self) -> bool:
        return _CHANNEL.fullmatch(self._peek().decode("latin-1")) is not None

    def _check_count(self, joint: BvhJoint, count: _Word, named: int) -> None:
        if count.text.lstrip(b"0") == (str(named).encode() if named else b""):
            return
        after = self._peek()
        what = f"{_name(joint)} announces {_shown(count.text)} channels and names {named}"
        if after and after.upper() not in (one.encode() for one in _KEYWORDS):
            what += f"; {_shown(after)} is no channel"
        mend = "A channel is X, Y or Z with position, rotation or scale, as in Xrotation."
        raise _wrong(what, count.line, mend)

    def _check_repeats(self, joint: BvhJoint, names: list[str], line: int) -> None:
        moves = [one for one in names if one[1] != "r"]
        turns = [one for one in names if one[1] == "r"]
        twice = any(a == b for a, b in pairwise(turns))
        if len(set(moves)) < len(moves) or twice or len(turns) > 3:
            what = f"{_name(joint)} repeats a channel"
            mend = "At most three rotations, no axis twice in a row, each position once."
            raise _wrong(what, line, mend)


def _name(joint: BvhJoint) -> str:
    """As people know it, cut if it is long."""
    return repr(short_line(joint.name, 80))


def _shown(text: bytes) -> str:
    return repr(text[:24].decode("utf-8", "replace"))


def _wrong(what: str, line: int, mend: str) -> AssetError:
    return AssetError(what, place=f"line {line}", mend=mend)
