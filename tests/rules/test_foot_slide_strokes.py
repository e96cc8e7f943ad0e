"""Slides right after a landing, while the foot rocks, and right before it moves on purpose."""

from dataclasses import replace

import numpy as np
import pytest

from kinelint.assemble import figure_of
from kinelint.cue import Cue
from kinelint.finding import Finding
from kinelint.intake import prepare
from kinelint.kinematics import rotations
from kinelint.kinematics.contact import steps
from kinelint.kinematics.slides import slides
from kinelint.motion import Motion
from kinelint.readers import read
from kinelint.synthetic_walk import ramp
from kinelint_rules.feet.foot_slide import FootSlide, FootSlideSettings
from real_data import real

MOVING, RISE, FLAT = 0.12, 0.008, 0.030
RATE = 120.0


def pulse(frames, first, last, top):
    """A hump of speed or height from `first` to `last`."""
    at = np.clip((np.arange(frames) - first) / (last - first), 0.0, 1.0)
    return top * np.sin(np.pi * at)


def test_a_foot_that_lands_all_but_stops_and_glides_on_steps_only_until_it_is_down():
    speed = 0.14 + pulse(120, 0, 40, 1.0) + pulse(120, 60, 90, 0.4)
    speed[90:] = 0.0
    height = 0.1 * (1.0 - ramp(120, 10, 45))
    bearing = np.arange(120) >= 40
    stepping = steps(speed, height, bearing, MOVING, RISE)
    assert stepping[:35].all()
    assert not stepping[65:].any()


def test_a_landing_is_a_step_until_the_foot_is_down_and_has_slowed():
    speed = np.where(np.arange(120) < 80, 0.14 + pulse(120, 0, 80, 1.0), 0.0)
    height = 0.1 * (1.0 - ramp(120, 10, 60))
    stepping = steps(speed, height, np.arange(120) >= 55, MOVING, RISE)
    assert stepping[:77].all()
    assert not stepping[80:].any()
    slower = np.where(np.arange(120) < 100, np.minimum(speed, 0.2), 0.0) + pulse(120, 65, 95, 0.3)
    stepping = steps(slower, height, np.arange(120) >= 55, MOVING, RISE)
    assert stepping[:45].all()
    assert not stepping[60:].any()


def test_a_foot_that_lifts_without_a_stop_steps_from_where_it_begins_to_move():
    speed = np.where(np.arange(120) < 40, 0.0, 0.14 + pulse(120, 40, 120, 1.0))
    height = 0.1 * ramp(120, 60, 110)
    stepping = steps(speed, height, np.arange(120) < 65, MOVING, RISE)
    assert not stepping[:40].any()
    assert stepping[40:].all()


def rocking(top_m):
    """From the heel to the ball, both of them 22 mm up at first or last, `top_m` more halfway."""
    speed = pulse(60, 10, 50, 0.6)
    share = ramp(60, 10, 50)
    up = pulse(60, 10, 50, top_m)
    return speed, (0.006 + 0.016 * share + 0.3 * up, 0.022 - 0.021 * share + 0.3 * up)


def test_a_flat_foot_that_rocks_as_it_slides_makes_no_step():
    speed, points = rocking(0.0)
    lowest, down = np.minimum(*points), np.ones(60, dtype=bool)
    assert steps(speed, lowest, down, MOVING, 0.007).any()
    assert not steps(speed, lowest, down, MOVING, 0.007, points, FLAT).any()


def test_a_foot_that_rises_as_it_rocks_or_stands_on_its_toes_steps():
    down = np.ones(60, dtype=bool)
    speed, points = rocking(0.05)
    assert steps(speed, np.minimum(*points), down, MOVING, 0.007, points, FLAT).any()
    speed, points = rocking(0.0)
    assert steps(speed, np.minimum(*points), down, MOVING, 0.007, points, 0.015).any()


@pytest.mark.parametrize("rate", [60.0, 120.0])
def test_two_slides_with_hardly_a_stop_between_them_are_two(rate):
    def to(first_s, last_s):
        return ramp(round(2.0 * rate), round(first_s * rate), round(last_s * rate))

    path = np.stack((0.22 * to(0.80, 1.20), 0.07 * to(0.50, 0.75)))
    first, second = sorted(slides(path, rate, least=0.021), key=lambda one: one.first)
    assert first.size == pytest.approx(0.07, abs=0.004)
    assert abs(first.direction[1]) > 0.95
    assert second.size == pytest.approx(0.22, abs=0.02)
    assert first.last / rate < 0.8 <= second.first / rate + 0.05


def test_a_curved_slide_is_one():
    angle = np.pi / 2.0 * ramp(240, 60, 110)
    path = 0.06 * np.stack((1.0 - np.cos(angle), np.sin(angle)))
    assert len(slides(path, RATE, least=0.021)) == 1


@pytest.mark.parametrize(
    ("side", "first_s", "last_s", "by_m"),
    [
        ("right", 0.09, 0.34, (0.1, 0.0, 0.0)),
        ("left", 1.12, 1.32, (0.0, 0.0, 0.0625)),
        ("left", 1.12, 1.32, (0.0, 0.0, 0.1)),
        ("left", 1.12, 1.32, (0.0, 0.0, -0.1)),
    ],
)
def test_a_capture_whose_root_jumps_ahead_while_a_foot_is_down(side, first_s, last_s, by_m):
    """Right after a landing, and while the foot rocks, of a start that turns on its foot."""
    clip = prepare(read(real("bvh/cmu_131_01_start_walk_stop.bvh")).clips[0]).clip
    figure = figure_of((clip,))
    rate = clip.sample_rate_hz
    gone = ramp(clip.frames, round(first_s * rate), round(last_s * rate))
    shift = np.outer(by_m, gone) / figure.metres_per_unit
    translations = np.array(clip.translations)
    translations[0] += rotations.unrotate(figure.to_y_up, shift)
    made = Motion(replace(clip, translations=translations), figure, Cue())
    found = [
        one
        for one in FootSlide.check(made, FootSlideSettings())
        if isinstance(one, Finding)
        and one.parts == (f"{side}_foot",)
        and one.span.first / rate <= last_s
        and one.span.last / rate >= first_s
    ]
    size_mm = 1000.0 * float(np.hypot(by_m[0], by_m[2]))
    assert max(one.measured or 0.0 for one in found) > 0.7 * size_mm
