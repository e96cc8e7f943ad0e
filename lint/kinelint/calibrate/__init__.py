"""Limits that a team can own: what its good clips measure, and the limits that follow from it."""

from __future__ import annotations

from kinelint.calibrate.policy_text import edited, new_text, unified
from kinelint.calibrate.probe import Probe, probes
from kinelint.calibrate.propose import Change, Proposal, propose
from kinelint.calibrate.sizes import Quantity, Study, study

__all__ = [
    "Change",
    "Probe",
    "Proposal",
    "Quantity",
    "Study",
    "edited",
    "new_text",
    "probes",
    "propose",
    "study",
    "unified",
]
