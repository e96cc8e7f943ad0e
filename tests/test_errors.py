"""Errors are one line, and come whole through a process border."""

import pickle

import pytest

from kinelint import errors


@pytest.mark.parametrize("kind", ["AssetError", "BodyError", "PolicyError", "RegistryError"])
def test_an_error_says_where_what_and_how_to_mend_it(kind):
    error = getattr(errors, kind)(
        "the row is short", path="crew/walk.bvh", place="line 12", mend="Export it again."
    )
    assert str(error) == "crew/walk.bvh: line 12: the row is short. Export it again."
    again = pickle.loads(pickle.dumps(error))
    assert type(again) is type(error)
    assert str(again) == str(error)


def test_a_path_can_be_named_later():
    error = errors.AssetError("it is empty").at("a.glb")
    assert str(error) == "a.glb: it is empty"
