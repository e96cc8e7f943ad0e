"""An anatomy in the making: who was taken for what, how sure, and why."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from kinelint.anatomy.anatomy import Anatomy, Assignment
from kinelint.anatomy.parts import FINGERS, PARTS, SIDES, label, side_of
from kinelint.anatomy.tree import Tree
from kinelint.anatomy.words import Reading


def kind_of(part: str) -> str:
    """The part without its side and number: "left_index_2" is "index"."""
    side = side_of(part)
    bare = part[len(side) + 1 :] if side in SIDES else part
    head, _, number = bare.rpartition("_")
    return head if number.isdigit() else bare


@dataclass
class Draft:
    """Collects assignments; a joint that is taken stays taken."""

    tree: Tree
    readings: Sequence[Reading]
    taken: dict[int, Assignment] = field(default_factory=dict)
    tips: dict[str, int] = field(default_factory=dict)
    notes: list[str] = field(default_factory=list)
    side_confidence: float = 1.0
    decreed: set[str] = field(default_factory=set)

    def decree(self, joint: int, part: str) -> None:
        """A joint for a part because the policy says so: no other joint becomes that part."""
        self.taken[joint] = Assignment(joint, part, 1.0, "the policy says so")
        self.decreed.add(part)

    def take(self, joint: int, part: str, structure: float, why: str = "") -> None:
        """A joint for a part; `structure` is the confidence without its name, in [0, 1]."""
        if joint in self.taken:
            return
        reading, kind = self.readings[joint], kind_of(part)
        said = max(reading.says(kind), 0.5 * reading.says("digit") * (kind in ("hand", *FINGERS)))
        confidence, evidence = structure, why
        if said:
            confidence = 1.0 - (1.0 - structure) * (1.0 - 0.8 * said)
            evidence = "; ".join(one for one in ("its name says so", why) if one)
        elif reading.kinds:
            confidence = structure * 0.6
            other = label(reading.best)
            evidence = "; ".join(one for one in (why, f"but its name says {other}") if one)
        side = side_of(part)
        if side and reading.side and reading.side != side:
            confidence *= 0.5
            evidence += f"; but its name says {reading.side}"
        self.put(joint, part, confidence, evidence)

    def put(self, joint: int, part: str, confidence: float, evidence: str) -> None:
        """A joint for a part, as it stands, unless the policy gave either to another."""
        if part in self.decreed or joint in self.taken:
            return
        doubt = 0.5 + 0.5 * self.side_confidence if side_of(part) else 1.0
        self.taken[joint] = Assignment(joint, part, round(confidence * doubt, 3), evidence)

    def tip(self, part: str, joint: int | None) -> None:
        """The point at the far end of a part, if there is one and it has no other meaning."""
        if joint is not None and joint not in self.taken:
            self.tips.setdefault(part, joint)

    def is_end(self, joint: int) -> bool:
        """Whether a joint only ends a chain: an end site, or a leaf named as an end."""
        leaf = not self.tree.skeleton.children[joint]
        return bool(self.tree.skeleton.tips[joint]) or (leaf and self.readings[joint].is_end)

    def ending(self, joint: int) -> int | None:
        """The end point directly below a joint; the furthest if there are several."""
        ends = [one for one in self.tree.skeleton.children[joint] if self.is_end(one)]
        far = [one for one in ends if self.tree.lengths[one] > 0]
        return max(far, key=lambda one: float(self.tree.lengths[one]), default=None)

    def bodies(self, joint: int) -> list[int]:
        """The children of a joint that are joints of the body: no end points, no controls."""
        return [
            one
            for one in self.tree.skeleton.children[joint]
            if not self.is_end(one) and not self.readings[one].is_control
        ]

    def finished(self) -> Anatomy:
        """The anatomy, in the order of the parts."""
        order = {part: i for i, part in enumerate(PARTS)}
        ones = sorted(self.taken.values(), key=lambda one: (order[one.part], one.joint))
        tips = {part: joint for part, joint in self.tips.items() if joint not in self.taken}
        return Anatomy(tuple(ones), tips, tuple(self.notes))
