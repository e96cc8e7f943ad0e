"""What a run keeps of many files: what they have in common once, and none of their samples."""

from dataclasses import replace

import numpy as np

from kinelint.engine.survey import BodySeen, Survey, shared
from kinelint.synthetic import person

KEY = ("signature", ())


def seen(skeleton):
    return Survey("bvh", False, "", seen=(BodySeen(KEY, skeleton),))


def copied(skeleton, **changes):
    """As from another process: equal, and not the same object."""
    return replace(skeleton, rest_translations=np.array(skeleton.rest_translations), **changes)


def test_equal_skeletons_are_held_once():
    known = {}
    first = shared(seen(person()), known)
    second = shared(seen(copied(person())), known)
    assert second.seen[0].skeleton is first.seen[0].skeleton


def test_skeletons_that_say_anything_else_stay_apart():
    known = {}
    shared(seen(person()), known)
    moved = np.array(person().rest_translations)
    moved[0, 1] += 0.01
    for other in (
        copied(person(), handles=("line 12",)),
        replace(person(), rest_translations=moved),
    ):
        assert shared(seen(other), known).seen[0].skeleton is other
