"""What a USD file holds that is not carried over."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from pxr import UsdGeom, UsdSkel

from kinelint.finding import Note
from kinelint.readers.usd_bindings import Found, Take, few
from kinelint.readers.usd_skins import Bound
from kinelint.readers.usd_stage import Scene


def notes_of(
    found: Found, takes: Sequence[Take], meshes: Sequence[Bound], scene: Scene
) -> Iterator[Note]:
    """One note for each kind of thing that was met and not read."""
    if not takes:
        yield Note("animation", "the file holds no animation")
    if not found.skeletons and not takes:
        yield Note("skeleton", "the file holds no skeleton")
    skinned = {str(mesh.prim.GetPath()) for mesh in meshes}
    loose = [one for one in _paths(found.others, UsdGeom.Mesh) if one not in skinned]
    if loose:
        yield Note("meshes", f"{len(loose)} meshes follow no skeleton: {few(loose)}")
    if cameras := _paths(found.others, UsdGeom.Camera):
        yield Note("cameras", f"{len(cameras)} cameras were not read: {few(cameras)}")
    moving = list(_moving(found, takes))
    if moving:
        text = f"{len(moving)} prims other than skeletons move and were not read"
        yield Note("transforms", f"{text}: {few(moving)}")
    between = list(_inbetweens(found.others))
    if between:
        text = f"{len(between)} blend shapes have in-between shapes, which were not read"
        yield Note("blend-shapes", f"{text}: {few(between)}")
    yield from _variants(scene.stage)


def _paths(prims: Sequence[Any], kind: Any) -> list[str]:
    return [str(prim.GetPath()) for prim in prims if prim.IsA(kind)]


def _moving(found: Found, takes: Sequence[Take]) -> Iterator[str]:
    """Prims with an animated transform that no skeleton inherits."""
    carriers: set[str] = set()
    for take in takes:
        parts = take.rig.path.split("/")
        carriers.update("/".join(parts[: i + 1]) for i in range(1, len(parts)))
    for prim in found.others:
        xformable = UsdGeom.Xformable(prim)
        if not xformable or str(prim.GetPath()) in carriers:
            continue
        if xformable.TransformMightBeTimeVarying():
            yield str(prim.GetPath())


def _inbetweens(prims: Sequence[Any]) -> Iterator[str]:
    for prim in prims:
        if prim.IsA(UsdSkel.BlendShape) and UsdSkel.BlendShape(prim).GetInbetweens():
            yield str(prim.GetPath())


def _variants(stage: Any) -> Iterator[Note]:
    """Which variant of each set was read, where there were others."""
    chosen = []
    for prim in stage.TraverseAll():
        if not prim.HasVariantSets():
            continue
        sets = prim.GetVariantSets()
        for name in sets.GetNames():
            if len(sets.GetVariantSet(name).GetVariantNames()) > 1:
                selected = sets.GetVariantSelection(name) or "none"
                chosen.append(f"{prim.GetPath()} {name} = {selected}")
    if chosen:
        yield Note("variants", f"only the selected variants were read: {few(chosen)}")
