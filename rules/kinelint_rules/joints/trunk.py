"""How far trunk and neck go."""

from __future__ import annotations

from kinelint_rules.joints.range import AAOS, SPINE, YOUDAS, Range

TRUNK: tuple[Range, ...] = (
    Range("trunk", "flexion", 1, "bent forward", "zero", f"90: {SPINE}", most_deg=90.0),
    Range("trunk", "flexion", -1, "bent back", "zero", f"30: {SPINE}", most_deg=30.0),
    Range(
        "trunk",
        "side bend",
        1,
        "bent to the right",
        "zero",
        f"35: {AAOS} (quoted)",
        most_deg=35.0,
    ),
    Range(
        "trunk",
        "side bend",
        -1,
        "bent to the left",
        "zero",
        f"35: {AAOS} (quoted)",
        most_deg=35.0,
    ),
    Range(
        "trunk",
        "turn",
        1,
        "turned to the left",
        "zero",
        f"45: {AAOS} (quoted)",
        most_deg=45.0,
    ),
    Range(
        "trunk",
        "turn",
        -1,
        "turned to the right",
        "zero",
        f"45: {AAOS} (quoted)",
        most_deg=45.0,
    ),
    Range("neck", "flexion", 1, "bent forward", "zero", f"65: {YOUDAS}", most_deg=65.0),
    Range("neck", "flexion", -1, "bent back", "zero", f"85: {YOUDAS}", most_deg=85.0),
    Range("neck", "side bend", 1, "bent to the right", "zero", f"45: {SPINE}", most_deg=45.0),
    Range("neck", "side bend", -1, "bent to the left", "zero", f"45: {SPINE}", most_deg=45.0),
    Range("neck", "turn", 1, "turned to the left", "zero", f"80: {SPINE}", most_deg=80.0),
    Range("neck", "turn", -1, "turned to the right", "zero", f"80: {SPINE}", most_deg=80.0),
)
