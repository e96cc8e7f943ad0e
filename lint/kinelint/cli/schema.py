"""`kinelint schema`."""

from __future__ import annotations

import argparse
import json

from kinelint import registry
from kinelint.cue_tables import CueSheetTable
from kinelint.policy.schema import policy_schema, sheet_schema


def run(asked: argparse.Namespace) -> int:
    """Prints a JSON Schema."""
    rules = asked.of == "policy"
    made = policy_schema(registry.load()) if rules else sheet_schema(CueSheetTable)
    print(json.dumps(made, indent=2, ensure_ascii=False))
    return 0
