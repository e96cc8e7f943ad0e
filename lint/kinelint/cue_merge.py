"""All entries of a cue sheet that fit one clip, as one cue."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

from kinelint.cue import Box, Cue, Held, Kept, Prop, Rod, Surface, WantedContact
from kinelint.cue_tables import CueTable, HeldTable, HolderTable, KeptTable, PropTable, When
from kinelint.cue_words import expanded

# Of these the later entry's word holds.
_SINGLE = ("loop", "in_place", "travel_m_per_s", "additive", "ground_m", "stage", "returns")


def merged(
    tables: Sequence[CueTable],
    props: Sequence[PropTable] = (),
    holders: Mapping[str, HolderTable] | None = None,
) -> Cue:
    """Entries in their order: single values of the later ones hold, lists are gathered.

    Args:
        tables: the entries that fit the clip.
        props: the props that are in it.
        holders: all holders by name.
    """
    said: dict[str, Any] = {}
    for one in tables:
        for key in _SINGLE:
            if getattr(one, key) is not None:
                said[key] = getattr(one, key)
        if one.class_ is not None:
            said["class_name"] = one.class_
    for key in ("only_parts", "not_captured"):
        words = [word for one in tables for word in getattr(one, key)]
        said[key] = tuple(dict.fromkeys(part for word in words for part in expanded(word)))
    contacts = [contact for one in tables for contact in one.contact]
    surfaces = [surface for one in tables for surface in one.surface]
    moments = _gathered(one.moments for one in tables)
    return Cue(
        **said,
        wanted_contacts=tuple(WantedContact(one.parts, one.depth_mm) for one in contacts),
        surfaces=tuple(Surface(s.name, s.top_m, s.from_m, s.to_m) for s in surfaces),
        moments=tuple(sorted(moments.items(), key=lambda one: one[1])),
        phases=tuple(_phases(tables, moments)),
        props=tuple(_prop(one) for one in {one.name: one for one in props}.values()),
        held=tuple(_held(one, moments) for table in tables for one in table.held),
        kept=tuple(_kept(one, holders or {}, moments) for table in tables for one in table.kept),
    )


def _gathered(tables: Iterable[Mapping[str, float]]) -> dict[str, float]:
    return {name: at for table in tables for name, at in table.items()}


def _time_s(when: When, moments: Mapping[str, float]) -> float | None:
    """None for the clip's own start or end; a moment that no entry names is one of them too."""
    return moments.get(when) if isinstance(when, str) else float(when)


def _phases(
    tables: Sequence[CueTable], moments: Mapping[str, float]
) -> Iterator[tuple[str, float, float]]:
    phases = {name: span for table in tables for name, span in table.phases.items()}
    for name, (first, last) in phases.items():
        from_s, to_s = _time_s(first, moments), _time_s(last, moments)
        yield name, from_s or 0.0, float("inf") if to_s is None else to_s


def _prop(one: PropTable) -> Prop:
    bulk: Box | Rod | None = None
    if one.rod is not None:
        bulk = Rod(one.rod.from_m, one.rod.to_m, one.rod.radius_mm / 1000.0)
    elif one.box is not None:
        bulk = Box(one.box.middle_m, one.box.size_m)
    return Prop(one.name, one.joint, bulk, tuple(one.grips.items()))


def _held(one: HeldTable, moments: Mapping[str, float]) -> Held:
    from_s, to_s = _time_s(one.from_, moments), _time_s(one.to, moments)
    return Held(one.prop, one.hand, one.grip, from_s, to_s)


def _kept(one: KeptTable, holders: Mapping[str, HolderTable], moments: Mapping[str, float]) -> Kept:
    rest = holders[one.holder]
    from_s, to_s = _time_s(one.from_, moments), _time_s(one.to, moments)
    return Kept(
        one.prop, one.holder, rest.joint, rest.at_m, rest.turn_wxyz, from_s=from_s, to_s=to_s
    )
