"""Writes the clips of the example and their truth table: ``python make_clips.py [FOLDER]``.

Needs numpy only. Running it again gives the same bytes.
"""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import asdict
from pathlib import Path
from typing import TypeAlias

sys.path.insert(0, str(Path(__file__).resolve().parent))

from making import acts, boathook, deck, defects, face, line, props, sets, slips
from making.pose import Motion, solve
from making.write_bvh import write_bvh
from making.write_glb import write_glb

Made: TypeAlias = tuple[Motion, defects.Planted] | tuple[Motion, list[defects.Planted]]
Make: TypeAlias = Callable[[float, str], Made]
WALK_M_PER_S = 2.0 * deck.STEP_M / deck.CYCLE_S


def clean() -> dict[str, dict[str, Motion]]:
    """File to its clips by name."""
    spot = acts.on_the_spot(deck.walk(30.0), (0.0, 0.0, WALK_M_PER_S), 30.0)
    return {
        "deck/idle.bvh": {"idle": solve(deck.idle(30.0), 30.0)},
        "deck/walk.bvh": {"walk": solve(deck.walk(60.0), 60.0)},
        "deck/walk_on_spot.glb": {"walk_on_spot": solve(spot, 30.0)},
        "deck/turn_left.bvh": {"turn_left": solve(deck.turn_about(30.0), 30.0)},
        "deck/step_to_quay.glb": {"step_to_quay": solve(deck.step_across(30.0), 30.0)},
        "deck/hop.bvh": {"hop": solve(deck.hop(60.0), 60.0)},
        "deck/kneel_tie_off.bvh": {"kneel_tie_off": solve(deck.kneel(60.0), 60.0)},
        "line/haul.glb": {
            "haul_start": solve(line.haul_start(30.0), 30.0),
            "haul_loop": solve(line.haul_loop(30.0), 30.0),
            "haul_end": solve(line.haul_end(30.0), 30.0),
        },
        "line/throw.bvh": {"throw": solve(line.line_throw(60.0), 60.0)},
        "line/catch.glb": {"catch": solve(line.line_catch(60.0), 60.0)},
        "boathook/take.bvh": {"take": solve(boathook.boathook_take(30.0), 30.0)},
        "boathook/return.glb": {"return": props.stow(30.0)},
        "boathook/push_off.bvh": {"push_off": solve(boathook.push_off(30.0), 30.0)},
        "cargo/carry_crate.glb": {"carry_crate": props.carry(30.0)},
        "line/call_out.glb": {"call_out": face.call_out(30.0)},
    }


def planted() -> tuple[dict[str, dict[str, Motion]], list[defects.Planted]]:
    """The same for clips with a defect, and the truth about them."""
    plan: dict[str, tuple[Make, float]] = {
        "deck/walk_v2.bvh": (defects.slid_foot, 60.0),
        "deck/idle_v2.bvh": (defects.backward_knee, 30.0),
        "line/haul_loop_v2.glb": (defects.open_loop, 30.0),
        "line/throw_v2.glb": (defects.stretched_forearm, 60.0),
        "line/catch_v2.glb": (defects.hand_in_thigh, 60.0),
        "boathook/push_off_v2.bvh": (defects.sunk_foot, 30.0),
        "boathook/return_v2.glb": (defects.floating_figure, 30.0),
        "deck/step_to_quay_v2.glb": (slips.popped_arm, 30.0),
        "deck/turn_left_v2.bvh": (slips.shivering_forearm, 60.0),
        "deck/walk_v3.bvh": (slips.repeated_frames, 60.0),
        "deck/tread_v2.glb": (slips.creeping_walk, 30.0),
        "deck/hop_v2.bvh": (slips.slow_fall, 60.0),
        "deck/lean_v2.glb": (slips.leans_back, 30.0),
        "deck/idle_v3.bvh": (slips.long_forearm, 30.0),
        "deck/turn_right_v2.bvh": (sets.edited_mirror, 30.0),
        "line/throw_v3.bvh": (slips.wound_arm, 60.0),
        "line/haul_end_v2.glb": (sets.off_chain, 30.0),
        "line/catch_v3.glb": (sets.late_catch, 60.0),
        "boathook/push_off_v3.bvh": (slips.slow_push, 30.0),
        "cargo/carry_crate_v2.bvh": (slips.low_rate, 24.0),
        "line/call_out_v2.glb": (face.torn_mouth, 30.0),
        "boathook/stow_v2.glb": (props.slipping, 30.0),
        "boathook/stow_v3.glb": (props.snapping, 30.0),
        "raw/take_07_v2.glb": (sets.uncut_take, 30.0),
    }
    files: dict[str, dict[str, Motion]] = {}
    truth: list[defects.Planted] = []
    for file, (make, rate_hz) in plan.items():
        name = Path(file).stem
        motion, fact = make(rate_hz, f"clips/{file}#{name}")
        files[file] = {name: motion}
        truth += fact if isinstance(fact, list) else [fact]
    return files, truth


def main(folder: Path) -> None:
    """Writes everything below `folder`."""
    broken, truth = planted()
    for file, motions in (clean() | broken).items():
        path = folder / "clips" / file
        if path.suffix == ".bvh":
            write_bvh(path, next(iter(motions.values())))
        else:
            write_glb(path, motions)
    # A working file that nobody has exported yet.
    write_bvh(folder / "work" / "cast_off.bvh", solve(line.haul_end(30.0), 30.0))
    truth.append(defects.UNEXPORTED)
    write_glb(folder / "crew_body.glb", {})
    (folder / "truth.toml").write_text(_table(truth), encoding="utf-8", newline="\n")


def _table(truth: list[defects.Planted]) -> str:
    lines = [
        "# What is wrong with the clips, and by how much: made by make_clips.py, which planted it.",
        "# All other clips, and all other frames of these, hold nothing at error level.",
    ]
    for one in truth:
        lines += ["", "[[defect]]"]
        for key, value in asdict(one).items():
            shown = list(value) if isinstance(value, tuple) else value
            lines.append(f"{key} = {_toml(shown)}")
    return "\n".join(lines) + "\n"


def _toml(value: object) -> str:
    if isinstance(value, list):
        return "[" + ", ".join(_toml(item) for item in value) + "]"
    return f'"{value}"' if isinstance(value, str) else str(value)


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).resolve().parent)
