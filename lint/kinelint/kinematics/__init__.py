"""Pure functions on arrays. They know arrays, not clips, parts or rules.

Conventions, everywhere in kinelint:

* Frames come last. A path is ``(3, frames)``, positions are ``(joints, 3, frames)``,
  rotations are ``(joints, 4, frames)``. The component axis is the last but one.
* Quaternions are unit, scalar first (w, x, y, z), and rotate column vectors:
  ``rotate(q, v)`` takes a vector from the child's axes to the parent's, and
  ``multiply(a, b)`` applies ``b`` first.
* Right-handed axes. In a `Motion`, Y is up and lengths are metres; in a `Clip` they are as the
  file has them. Angles are radians unless a name ends in ``_deg``.
* A rate at frame f is the change from f-1 to f. Its array has as many frames as the motion, and
  frame 0 repeats frame 1, so that a frame of a mask is the frame to look at.
* float64 throughout; functions return new arrays and never write into their arguments.
"""
