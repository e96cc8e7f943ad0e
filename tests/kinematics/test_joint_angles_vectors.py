"""Vector helpers against numpy's own."""

import numpy as np
import pytest

from kinelint.kinematics import vectors

RNG = np.random.default_rng(2)
A, B = RNG.normal(size=(2, 4, 3, 30))


def test_they_are_numpys():
    assert vectors.dot(A, B) == pytest.approx(np.sum(A * B, axis=-2))
    assert vectors.cross(A, B) == pytest.approx(np.cross(A, B, axis=-2))
    assert vectors.length(A) == pytest.approx(np.linalg.norm(A, axis=-2))
    assert vectors.length(vectors.unit(A)) == pytest.approx(np.ones((4, 30)))


def test_a_vector_without_length_has_no_direction():
    assert np.isnan(vectors.unit(np.zeros((3, 1)))).all()
