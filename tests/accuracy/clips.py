"""The real clips, each on the figure of all clips that share its skeleton, and the six rules."""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from kinelint.anatomy.figure import Figure
from kinelint.assemble import figure_of
from kinelint.clip import Clip, Skin
from kinelint.cue import Cue
from kinelint.engine.judge import strict_numbers
from kinelint.errors import KinelintError, NotApplicable
from kinelint.finding import Finding, Level
from kinelint.intake import prepare
from kinelint.motion import Motion
from kinelint.readers import read
from kinelint_rules.contact.penetration import Penetration
from kinelint_rules.feet.foot_slide import FootSlide
from kinelint_rules.feet.ground_contact import GroundContact
from kinelint_rules.joints.joint_limit import JointLimit
from kinelint_rules.limbs.limb_stretch import LimbStretch
from kinelint_rules.loops.loop_seam import LoopSeam

RULES = {
    rule.id: rule
    for rule in (Penetration, LimbStretch, JointLimit, LoopSeam, FootSlide, GroundContact)
}
# What a team would say of such clips: their names and their makers do.
_LOOP_WORDS = ("loop", "walking", "running", "idle", "cesiumman")
# Not loops, though they are called after one.
_NO_LOOP_WORDS = ("jump",)


@dataclass(frozen=True, eq=False)
class Subject:
    """One clip of one file, on its body.

    Attributes:
        file: name of the file without its ending.
        media: "bvh" or "glb".
        motion: with the cue that the clip's name asks for.
        others: all clips of the same skeleton, this one among them, and the meshes beside them.
    """

    file: str
    media: str
    motion: Motion
    others: tuple[Clip, ...]
    skins: tuple[Skin, ...] = ()

    @property
    def name(self) -> str:
        clip = self.motion.clip.name
        return self.file if self.media == "bvh" else f"{self.file}:{clip}"

    @property
    def minutes(self) -> float:
        return self.motion.clip.duration_s / 60.0

    @property
    def figure(self) -> Figure:
        return self.motion.figure


def data_folder(argument: Sequence[str] = ()) -> Path:
    """Where the real clips are: the argument, KINELINT_TEST_DATA, or beside the repository."""
    beside = Path(__file__).resolve().parents[3] / "shared" / "data"
    given = argument[0] if argument else os.environ.get("KINELINT_TEST_DATA")
    return Path(given) if given else beside


def subjects(folder: Path, endings: Sequence[str] = (".bvh", ".glb")) -> Iterator[Subject]:
    """Every clip of the folder that has a body; says which have none."""
    groups: dict[str, list[tuple[Path, Clip, tuple[Skin, ...]]]] = {}
    for path in sorted(one for one in folder.rglob("*") if one.suffix in endings):
        asset = read(path)
        for clip in asset.clips:
            prepared = prepare(clip).clip
            row = (path, prepared, asset.skins)
            groups.setdefault(prepared.skeleton.signature, []).append(row)
    for group in groups.values():
        yield from _of_group(group)


def _of_group(group: Sequence[tuple[Path, Clip, tuple[Skin, ...]]]) -> Iterator[Subject]:
    clips = tuple(clip for _, clip, _ in group)
    skins = group[0][2]
    try:
        figure = figure_of(clips, skins=skins)
    except KinelintError as reason:
        print(f"no body: {group[0][0].name}: {reason}")
        return
    for path, clip, _ in group:
        named = f"{path.stem} {clip.name}".lower() if len(clips) > 1 else path.stem.lower()
        no_loop = any(word in named for word in _NO_LOOP_WORDS)
        loop = any(word in named for word in _LOOP_WORDS) and not no_loop
        media = path.suffix.lstrip(".")
        motion = Motion(clip, figure, Cue(loop=True if loop else None))
        yield Subject(path.stem, media, motion, clips, skins)


def said(motion: Motion, rule_ids: Sequence[str] = tuple(RULES)) -> dict[str, list[Finding]]:
    """The findings of each rule, every one with its level; rules that do not apply have none."""
    found: dict[str, list[Finding]] = {}
    for rule_id in rule_ids:
        rule = RULES[rule_id]
        try:
            with strict_numbers():
                every = list(rule.check(motion, rule.settings_type()))
        except NotApplicable:
            continue
        found[rule_id] = [
            replace(one, level=one.level or rule.level) for one in every if isinstance(one, Finding)
        ]
    return found


def errors(found: dict[str, list[Finding]]) -> list[tuple[str, Finding]]:
    """The findings of level error, with the rule's id."""
    return [(rule, one) for rule, many in found.items() for one in many if one.level is Level.ERROR]
