"""`kinelint measure`."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from pathlib import Path

from kinelint.cli.gate import policy_for
from kinelint.cli.terminal import coloured, width
from kinelint.clip import Clip
from kinelint.engine.one import OneClip, one_clip
from kinelint.errors import AssetError, PolicyError
from kinelint.measure import Table, tables
from kinelint.outputs.cells import padded, wrapped
from kinelint.outputs.ink import Ink
from kinelint.outputs.wording import number, part_label, plain, prose


def run(asked: argparse.Namespace) -> int:
    """Prints what can be measured of a clip, or how its skeleton was understood."""
    if asked.takes:
        return _takes(asked)
    if len(asked.clip) != 1:
        mend = "Name one clip, or add --takes to rank several."
        raise PolicyError(f"{len(asked.clip)} clips cannot be measured at once", mend=mend)
    path, name = _named(asked.clip[0])
    policy = policy_for(asked.policy, [path])
    wide, ink = width(), Ink(coloured(asked.colour))
    found = one_clip(path, name, policy)
    shown = _skeleton(found, wide, ink) if asked.skeleton else _measured(found, wide, ink)
    for line in shown:
        print(line.rstrip())
    return 0


def _takes(asked: argparse.Namespace) -> int:
    """Ranks takes of one action by what cleaning them would cost."""
    from kinelint.engine import run as run_engine
    from kinelint.outputs.takes import render_takes, takes

    paths = [Path(one) for one in asked.clip]
    report = run_engine(paths, policy_for(asked.policy, paths), workers=asked.workers)
    for line in render_takes(takes(report), width=width(), colour=coloured(asked.colour)):
        print(line.rstrip())
    return 2 if report.all_troubles() else 0


def _named(asked: str) -> tuple[Path, str]:
    """A file, or FILE#CLIP; a file whose name holds a "#" wins."""
    if Path(asked).exists() or "#" not in asked:
        return Path(asked), ""
    path, _, name = asked.rpartition("#")
    return Path(path), name


def _measured(found: OneClip, wide: int, ink: Ink) -> Iterator[str]:
    if found.motion is None:
        raise AssetError(found.fault, path=found.shown)
    for note in found.notes:
        yield from wrapped(prose(note.text), wide)
    for table in tables(found.motion):
        yield ""
        yield ink.strong(table.title)
        yield from _rows(table, wide)
        for text in table.said:
            yield from wrapped(prose(text), wide, first="  ", rest="    ")


def _rows(table: Table, wide: int) -> Iterator[str]:
    if not table.header:
        for name, value in table.rows:
            yield from wrapped(plain(str(value)), wide, first=f"  {name!s:20}", rest=" " * 22)
        return
    if not table.rows:
        return
    columns, cell = len(table.header) - 1, 12
    first = wide - 2 - columns * cell
    for row in (table.header, *table.rows):
        cells = [padded(_shown(value), cell, right=True) for value in row[1:]]
        yield f"  {padded(plain(str(row[0])), first)}{''.join(cells)}"


def _shown(value: str | float) -> str:
    return plain(value) if isinstance(value, str) else number(value)


def _skeleton(found: OneClip, wide: int, ink: Ink) -> Iterator[str]:
    skeleton = found.clip.skeleton
    yield ink.strong(f"{prose(found.shown)}: skeleton {skeleton.signature}")
    if found.figure is None:
        yield from wrapped(prose(found.fault), wide)
        return
    anatomy = found.figure.anatomy
    taken = {one.joint: one for one in anatomy.assignments}
    name_wide, part_wide = wide - 54, 16
    indent = " " * (name_wide + part_wide + 6)
    yield f"{'joint':{name_wide}}{'part':{part_wide}}{'sure':>4}  evidence"
    for joint in _walk(found.clip):
        depth = skeleton.path(joint).count("/")
        name = (
            padded(f"{' ' * min(depth, 9)}{plain(skeleton.names[joint]) or '?'}", name_wide - 1)
            + " "
        )
        one = taken.get(joint)
        if one is None:
            yield f"{name}{'–':{part_wide}}"
            continue
        head = f"{name}{padded(part_label(one.part), part_wide)}{one.confidence:4.2f}  "
        yield from wrapped(prose(one.evidence), wide, first=head, rest=indent)
    for text in dict.fromkeys((*anatomy.notes, *(note.text for note in found.figure.notes))):
        yield from wrapped(prose(text), wide)


def _walk(clip: Clip) -> Iterator[int]:
    """Joints from each root down, without the tips."""
    skeleton = clip.skeleton
    waiting = [joint for joint in range(len(skeleton)) if skeleton.parents[joint] < 0][::-1]
    while waiting:
        joint = waiting.pop()
        if not skeleton.tips[joint]:
            yield joint
        waiting.extend(reversed(skeleton.children[joint]))
