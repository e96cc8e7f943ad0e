"""What a team demands of its clips: `kinelint.toml`, read, checked and settled for each clip."""

from __future__ import annotations

from kinelint.policy.find import POLICY_NAME, find_policy, root_of
from kinelint.policy.load import load_policy
from kinelint.policy.model import PolicyTable, SkeletonTable
from kinelint.policy.settle import Policy, SettledRule

__all__ = [
    "POLICY_NAME",
    "Policy",
    "PolicyTable",
    "SettledRule",
    "SkeletonTable",
    "find_policy",
    "load_policy",
    "root_of",
]
