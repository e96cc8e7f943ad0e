"""The built-in rules. A new rule is one file and one line in `RULES`."""

from __future__ import annotations

from typing import Any

from kinelint.rule import RuleBase
from kinelint_rules.contact.penetration import Penetration
from kinelint_rules.continuity.drift import Drift
from kinelint_rules.continuity.jitter import Jitter
from kinelint_rules.continuity.pop import Pop
from kinelint_rules.continuity.stall import Stall
from kinelint_rules.face.face_range import FaceRange
from kinelint_rules.feet.foot_slide import FootSlide
from kinelint_rules.feet.ground_contact import GroundContact
from kinelint_rules.files.clip_form import ClipForm
from kinelint_rules.files.skeleton_match import SkeletonMatch
from kinelint_rules.files.stale_export import StaleExport
from kinelint_rules.files.wrap_flip import WrapFlip
from kinelint_rules.groups.chain_seam import ChainSeam
from kinelint_rules.groups.contact_sync import ContactSync
from kinelint_rules.groups.mirror_match import MirrorMatch
from kinelint_rules.joints.joint_limit import JointLimit
from kinelint_rules.limbs.asymmetry import Asymmetry
from kinelint_rules.limbs.limb_stretch import LimbStretch
from kinelint_rules.loops.loop_seam import LoopSeam
from kinelint_rules.props.prop_grip import PropGrip
from kinelint_rules.props.prop_holder import PropHolder
from kinelint_rules.timing.phase_timing import PhaseTiming
from kinelint_rules.timing.untrimmed import Untrimmed
from kinelint_rules.weight.balance import Balance
from kinelint_rules.weight.flight import Flight

RULES: tuple[type[RuleBase[Any]], ...] = (
    Asymmetry,
    Balance,
    ChainSeam,
    ClipForm,
    ContactSync,
    Drift,
    FaceRange,
    Flight,
    FootSlide,
    GroundContact,
    Jitter,
    JointLimit,
    LimbStretch,
    LoopSeam,
    MirrorMatch,
    Penetration,
    PhaseTiming,
    Pop,
    PropGrip,
    PropHolder,
    SkeletonMatch,
    Stall,
    StaleExport,
    Untrimmed,
    WrapFlip,
)
