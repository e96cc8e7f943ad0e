"""From joints to a body: parts, proportions, volume, soles, the ground under them."""
