"""Which animation plays on which skeleton, and what the clips are called."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

from pxr import Usd, UsdSkel

from kinelint.finding import Note
from kinelint.readers.options import ReadOptions
from kinelint.readers.usd_skeleton import Rig, build_rig
from kinelint.readers.usd_stage import Scene
from kinelint.readers.usd_values import names


@dataclass(frozen=True, eq=False)
class Found:
    """The prims of a file that matter here, each in the order of the stage.

    Attributes:
        roots: SkelRoot prims.
        skeletons: Skeleton prims.
        animations: SkelAnimation prims.
        others: all that some note may be about.
    """

    roots: list[Any] = field(default_factory=list)
    skeletons: list[Any] = field(default_factory=list)
    animations: list[Any] = field(default_factory=list)
    others: list[Any] = field(default_factory=list)


@dataclass(frozen=True, eq=False)
class Take:
    """What becomes a clip: an animation (None: only the skeleton's prim moves) on a skeleton."""

    rig: Rig
    animation: Any | None

    @property
    def path(self) -> str:
        """Of the prim that moves the skeleton."""
        return self.rig.path if self.animation is None else str(self.animation.GetPath())


def find(scene: Scene) -> Found:
    """Go through all prims once."""
    found = Found()
    for prim in scene.prims():
        kind = prim.GetTypeName()
        if kind == "SkelRoot":
            found.roots.append(prim)
        elif kind == "Skeleton":
            found.skeletons.append(prim)
        elif kind == "SkelAnimation":
            found.animations.append(prim)
        elif kind not in ("", "Scope"):
            found.others.append(prim)
    return found


def populated(found: Found) -> Any:
    """UsdSkel's own cache, which resolves inherited bindings."""
    cache = UsdSkel.Cache()
    for root in found.roots:
        cache.Populate(UsdSkel.Root(root), Usd.TraverseInstanceProxies())
    return cache


def takes(
    found: Found, cache: Any, scene: Scene, options: ReadOptions
) -> tuple[list[Rig], list[Take], list[Note]]:
    """All rigs, and what plays on them: bound animations first, then unbound ones.

    Raises:
        AssetError: as of `build_rig`.
    """
    notes: list[Note] = []
    bound = {str(one.GetPath()): _animation_of(one, cache) for one in found.skeletons}
    rigs = [
        rig
        for one in found.skeletons
        if (rig := build_rig(one, bound[str(one.GetPath())], scene, options))
    ]
    listed = [Take(rig, bound[rig.path]) for rig in rigs if bound[rig.path]]
    played = {take.path for take in listed}
    loose = [one for one in found.animations if str(one.GetPath()) not in played]
    strays = []
    for animation in loose:
        rig = _nearest(animation, rigs, scene)
        if rig is None and not rigs:
            rig = build_rig(animation, animation, scene, options)
        if rig is None:
            strays.append(str(animation.GetPath()))
        else:
            listed.append(Take(rig, animation))
    moved = {take.rig.path for take in listed}
    listed += [Take(rig, None) for rig in rigs if rig.space.moves and rig.path not in moved]
    if rigs and len(listed) > len(played):
        text = "animations that are bound to no skeleton were taken for the nearest that fits"
        named = [take.path for take in listed if take.animation and take.path not in played]
        if named:
            notes.append(Note("binding", f"{text}: {few(named)}"))
    if not rigs and listed:
        text = "the file holds no Skeleton; the joints and the rest pose are its animations'"
        notes.append(Note("skeleton", text))
    if strays:
        text = "animations whose joints are those of no skeleton were left out"
        notes.append(Note("animation", f"{text}: {few(strays)}"))
    rigs = rigs or [take.rig for take in listed]
    return rigs, listed, notes


def few(names: Sequence[str]) -> str:
    """At most three names, and how many more there are."""
    more = f" and {len(names) - 3} more" if len(names) > 3 else ""
    return ", ".join(names[:3]) + more


def _animation_of(prim: Any, cache: Any) -> Any | None:
    """The SkelAnimation that plays on a Skeleton."""
    skeleton = UsdSkel.Skeleton(prim)
    query = cache.GetSkelQuery(skeleton)
    playing = query.GetAnimQuery() if query else None
    if playing:
        return _as_instance(playing.GetPrim(), prim)
    # Outside of a SkelRoot, or of joints out of order, UsdSkel itself plays nothing.
    source = UsdSkel.BindingAPI(prim).GetInheritedAnimationSource()
    return source if source and source.GetTypeName() == "SkelAnimation" else None


def _as_instance(animation: Any, skeleton: Any) -> Any:
    """The same animation as a prim of the skeleton's instance, if it is one of its prototype."""
    if not animation.IsInPrototype():
        return animation
    above = skeleton
    while above and not above.IsPseudoRoot():
        if above.IsInstance():
            prototype = above.GetPrototype().GetPath()
            if animation.GetPath().HasPrefix(prototype):
                own = animation.GetPath().ReplacePrefix(prototype, above.GetPath())
                return skeleton.GetStage().GetPrimAtPath(own)
        above = above.GetParent()
    return animation


def _nearest(animation: Any, rigs: Sequence[Rig], scene: Scene) -> Rig | None:
    """The rig with all joints of an animation that shares most of its path."""
    tokens = set(names(animation.GetAttribute("joints"), scene.error))
    fits = [rig for rig in rigs if tokens and tokens <= rig.joint_of.keys()]
    own = str(animation.GetPath()).split("/")

    def shared(rig: Rig) -> int:
        pairs = zip(own, rig.path.split("/"), strict=False)
        return next((i for i, (a, b) in enumerate(pairs) if a != b), 0)

    return max(fits, key=shared, default=None)


def clip_names(listed: Sequence[Take]) -> tuple[list[str], list[Note]]:
    """A name for each take, no two alike: the prim's own where one has it, paths elsewhere."""
    own = [take.path.rpartition("/")[2] for take in listed]
    paths = Counter(take.path for take in listed)
    counts = Counter(own)
    given = list(_distinct(listed, own, counts, paths))
    notes = []
    if clashing := sorted(name for name, count in counts.items() if count > 1):
        text = "several animations share a name and are called by their paths"
        notes.append(Note("clip-names", f"{text}: {few(clashing)}"))
    return given, notes


def _distinct(
    listed: Sequence[Take], own: list[str], counts: Counter[str], paths: Counter[str]
) -> Iterator[str]:
    for take, name in zip(listed, own, strict=True):
        if counts[name] == 1:
            yield name
        elif paths[take.path] == 1:
            yield take.path
        else:
            yield f"{take.path} on {take.rig.path}"
