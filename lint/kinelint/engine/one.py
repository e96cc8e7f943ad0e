"""One clip on its body, as the gate would see it, with nothing judged."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from kinelint.anatomy.figure import Figure
from kinelint.assemble import motion_of
from kinelint.clip import Asset, Clip
from kinelint.cues import CUES_NAME, load_sheets
from kinelint.discover import Found, shown_path
from kinelint.engine.context import Context
from kinelint.engine.figures import ToSettle, settle
from kinelint.engine.survey import figure_key, survey
from kinelint.errors import AssetError
from kinelint.finding import Note
from kinelint.intake import prepare
from kinelint.motion import Motion
from kinelint.policy import Policy
from kinelint.policy.find import root_of
from kinelint.toml_check import nearest


@dataclass(frozen=True, eq=False)
class OneClip:
    """A clip and its figure; without a figure `fault` says why."""

    shown: str
    clip: Clip
    figure: Figure | None
    motion: Motion | None
    fault: str = ""
    notes: tuple[Note, ...] = ()


def named_cues(policy: Policy, root: Path) -> Path | None:
    """The sheet that the policy names, or that lies beside it outside the tree."""
    if policy.file is None:
        return None
    if policy.table.cues is not None:
        return policy.folder / policy.table.cues
    beside = policy.folder / CUES_NAME
    # Below the root it is found with those that lie beside clips.
    return None if policy.folder.is_relative_to(root) or not beside.is_file() else beside


def one_clip(path: Path, name: str, policy: Policy) -> OneClip:
    """Reads a clip and makes its figure from the clips of this file alone.

    Args:
        path: the file.
        name: of the clip; may be empty if the file has but one.
        policy: whose units, parts, cues and body file hold.

    Raises:
        AssetError: the file or the clip cannot be read, or there is no such clip.
    """
    root = root_of([path], policy.root).resolve()
    real = path.parent.resolve() / path.name
    context = Context(policy, load_sheets(named_cues(policy, root), [real.parent], root), root)
    file = Found(real, shown_path(real, root), real.stat().st_size)
    clip = _chosen(context.read(real), name, str(path))
    seen = {one.key: one for one in survey(context, file).seen}
    key = figure_key(context, file, clip)
    settled = settle(context, ToSettle(key, (seen[key],), real if seen[key].skinned else None))
    prepared = prepare(clip)
    if settled.figure is None:
        return OneClip(file.shown, clip, None, None, settled.fault, prepared.notes)
    cue, _ = context.cues.cue(file.shown, clip.name)
    demands = policy.demands(file.shown, clip.name, cue.class_name, cue.stage)
    motion = motion_of(prepared.clip, settled.figure, cue, demands.ground_m)
    return OneClip(file.shown, clip, settled.figure, motion, notes=prepared.notes)


def _chosen(asset: Asset, name: str, path: str) -> Clip:
    names = [clip.name for clip in asset.clips]
    if not names:
        raise AssetError("the file holds no clip", path=path, mend="Name a file with animation.")
    if name in names:
        return asset.clips[names.index(name)]
    more = f" and {len(names) - 12} more" if len(names) > 12 else ""
    listed = f"Its clips: {', '.join(names[:12])}{more}."
    if name:
        what = f"there is no clip {name!r} in it"
        raise AssetError(what, path=path, mend=nearest(name, names) or listed)
    if len(names) > 1:
        what = f"there are {len(names)} clips in it"
        raise AssetError(what, path=path, mend=f"Name one, as {path}#{names[0]}. {listed}")
    return asset.clips[0]
