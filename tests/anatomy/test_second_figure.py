"""Two figures in one file, as of a scene with a partner: one is judged, the other is told."""

from __future__ import annotations

import numpy as np
import pytest

from kinelint.anatomy.identify import identify
from kinelint.clip import Skeleton
from kinelint.synthetic import person


def together(one: Skeleton, other: Skeleton, names: str = "mate_{}", under: int = -1) -> Skeleton:
    """Both in one skeleton, the other two metres aside, under a joint of the first or beside."""
    parents = np.where(other.parents < 0, under, other.parents + len(one))
    at = np.array(other.rest_translations)
    at[0, 0] += 2.0
    return Skeleton(
        names=(*one.names, *(names.format(name) for name in other.names)),
        parents=np.concatenate((one.parents, parents)),
        rest_translations=np.concatenate((one.rest_translations, at)),
        tips=np.concatenate((one.tips, other.tips)),
    )


def stage(skeleton: Skeleton) -> Skeleton:
    """The same under a root that stands still, as scenes have it."""
    return Skeleton(
        names=("stage", *skeleton.names),
        parents=np.concatenate(([-1], skeleton.parents + 1)),
        rest_translations=np.concatenate((np.zeros((1, 3)), skeleton.rest_translations)),
        tips=np.concatenate(([False], skeleton.tips)),
    )


def said(skeleton: Skeleton) -> list[str]:
    return [note for note in identify(skeleton).notes if "second figure" in note]


@pytest.mark.parametrize("names", ["mate_{}", "{}", "b"])
def test_a_second_figure_is_told_whatever_its_names(names):
    both = together(person(), person(1.6), names)
    [note] = said(both)
    first = names.format("pelvis")
    assert f'joints from "{first}" on look like a second figure' in note
    assert "not judged" in note


def test_under_a_common_root_it_is_told_too():
    assert len(said(stage(together(person(), person(1.6))))) == 1


def test_one_figure_is_one():
    assert said(person()) == said(person(1.75, fingers=True)) == said(stage(person())) == []


def test_a_prop_of_many_joints_is_no_figure():
    rope = Skeleton(
        names=tuple(f"rope_{n}" for n in range(30)),
        parents=np.arange(30) - 1,
        rest_translations=np.tile([0.0, -0.1, 0.0], (30, 1)),
    )
    assert said(together(person(), rope)) == []
    hand = person().names.index("left_hand")
    assert said(together(person(), rope, under=hand)) == []
