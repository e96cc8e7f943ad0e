"""The takes (animation stacks) of an FBX scene: what each moves, when, and what of it is unread."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from kinelint.finding import Note
from kinelint.kinematics.arrays import Floats
from kinelint.readers.fbx_binding import binding, counted, few, kept, listed, listing
from kinelint.readers.fbx_nodes import Nodes

# Properties that make up the transform of a node, all evaluated by the binding.
_TRANSFORM = frozenset(
    f"{kind} {what}"
    for kind, what in (("Lcl", "Translation"), ("Lcl", "Rotation"), ("Lcl", "Scaling"))
) | {
    "PreRotation",
    "PostRotation",
    "RotationOffset",
    "RotationPivot",
    "ScalingOffset",
    "ScalingPivot",
    "RotationOrder",
}
_WEIGHT = "DeformPercent"


@dataclass
class Take:
    """One animation stack.

    Attributes:
        index: among the file's takes.
        name: in the file.
        anim: the binding's evaluation of its layers.
        begin_s, end_s: as the file says.
        moved: nodes whose transform it animates, to the element ids of their curves.
        weights: element ids of blend-shape channels that it animates, to those of their curves.
        unread: names of other animated properties, counted.
        notes: what is odd about it.
    """

    index: int
    name: str
    anim: Any
    begin_s: float
    end_s: float
    moved: dict[int, list[Any]] = field(default_factory=dict)
    weights: dict[int, list[Any]] = field(default_factory=dict)
    unread: Counter[str] = field(default_factory=Counter)
    notes: list[Note] = field(default_factory=list)


def read_takes(scene: Any, nodes: Nodes) -> list[Take]:
    """All takes, their curves not read yet."""
    return [_take(stack, i, nodes) for i, stack in enumerate(listed(scene.anim_stacks))]


def _take(stack: Any, index: int, nodes: Nodes) -> Take:
    take = Take(index, stack.name, kept(stack.anim), float(stack.time_begin), float(stack.time_end))
    layers = listed(stack.layers)
    heard = _heard(layers, take)
    for layer in heard:
        for prop in listed(layer.anim_props):
            _sort_in(take, prop, nodes)
    return take


def _heard(layers: list[Any], take: Take) -> list[Any]:
    """The layers that count. The binding plays muted ones too, which only one layer can avoid."""
    said = [(layer, kept(layer.props)) for layer in layers]
    muted = [layer for layer, props in said if props.find_bool("Mute", False)]
    solo = [layer for layer, props in said if props.find_bool("Solo", False)]
    rest = [layer for layer in layers if layer not in muted]
    full = [layer for layer in rest if len(kept(layer.anim_props))]
    if solo:
        names = few(layer.name for layer in solo)
        take.notes.append(Note("layers", f"layers set to play alone were not singled out: {names}"))
    silenced = [layer for layer in muted if len(kept(layer.anim_props))]
    if not silenced:
        return layers
    names = few(layer.name for layer in silenced)
    if len(full) == 1 and full[0].weight == 1.0 and not full[0].weight_is_animated:
        take.anim = kept(full[0].anim)
        take.notes.append(Note("layers", f"muted layers were left out: {names}"))
        return full
    take.notes.append(Note("layers", f"muted layers were played all the same: {names}"))
    return layers


def _sort_in(take: Take, prop: Any, nodes: Nodes) -> None:
    kinds = binding().ElementType
    element, name = kept(prop.element), prop.prop_name
    kind, element_id = int(element.type), int(element.element_id)
    curves = [kept(one) for one in kept(kept(prop.anim_value).curves) if one is not None]
    node = nodes.index_of.get(element_id) if kind == kinds.NODE else None
    if node is not None and name in _TRANSFORM:
        take.moved.setdefault(node, []).extend(curves)
    elif kind == kinds.BLEND_CHANNEL and name == _WEIGHT:
        take.weights.setdefault(element_id, []).extend(curves)
    elif kind != kinds.ANIM_LAYER:
        take.unread[name] += 1


@dataclass
class KeyTimes:
    """Times of keys. Curves whose keys agree in number and at some places are read once."""

    _known: dict[tuple[float, ...], Floats] = field(default_factory=dict)

    def of(self, curves: Iterable[Any]) -> Floats:
        """``(keys,)`` times of all keys of the curves, each once, rising."""
        several = {id(times): times for times in map(self._times, curves)}
        return np.unique(np.concatenate([np.empty(0), *several.values()]))

    def _times(self, curve: Any) -> Floats:
        keys = kept(curve.keyframes)
        count = len(keys)
        looked = np.unique(np.linspace(0, count - 1, min(count, 8)).astype(int)).tolist()
        mark = (float(count), *(keys[i].time for i in looked))
        if mark not in self._known:
            times = np.fromiter((keys[i].time for i in range(count)), np.float64, count)
            self._known[mark] = times[np.isfinite(times)]
        return self._known[mark]


def spans(take: Take, keys_s: Floats) -> tuple[float, float]:
    """Where the take begins and ends: as the file says, or its keys if it says nothing."""
    said = math.isfinite(take.begin_s) and math.isfinite(take.end_s)
    if said and take.end_s > take.begin_s:
        return take.begin_s, take.end_s
    if len(keys_s) and (len(keys_s) > 1 or not said):
        return float(keys_s[0]), float(keys_s[-1])
    return (take.begin_s, take.begin_s) if said else (0.0, 0.0)


def unread_notes(takes: Iterable[Take]) -> Iterator[Note]:
    """One note for all animated properties that no clip carries."""
    counts: Counter[str] = Counter()
    for take in takes:
        counts.update(take.unread)
    if counts:
        names = [f"{name!r} ({count})" for name, count in counts.most_common()]
        what = counted(sum(counts.values()), "animated property", "animated properties")
        yield Note("channels", f"no clip carries {what}: {listing(names)}")


def distinct(names: Iterable[str]) -> tuple[list[str], list[Note]]:
    """A name for each take, no two alike: people and policies tell clips apart by it."""
    given = [name or f"take {i}" for i, name in enumerate(names)]
    taken: set[str] = set()
    found: list[str] = []
    notes: list[Note] = []
    for name in given:
        wanted, number = name, 1
        while name in taken or (name != wanted and name in given):
            number += 1
            name = f"{wanted} ({number})"
        if name != wanted:
            text = f"several takes are called {wanted!r}; one of them is {name!r} here"
            notes.append(Note("clip-names", text))
        taken.add(name)
        found.append(name)
    return found, notes


def weight_channels(scene: Any) -> Mapping[int, tuple[str, Any]]:
    """Element id of each blend-shape channel, to its name with its mesh's, and the channel."""
    found: dict[int, tuple[str, Any]] = {}
    for mesh in listed(scene.meshes):
        shown = [one.name for one in listed(mesh.instances)]
        owner = (shown[0] if shown else "") or mesh.name or "mesh"
        for deformer in listed(mesh.blend_deformers):
            for channel in listed(deformer.channels):
                found.setdefault(channel.element_id, (f"{owner} {channel.name}", channel))
    return found
