"""The shape of the strokes of one load."""

from daq.measure.ripple import shapes_of, turned


def shapes(t_s, load, boundaries_s, *, angle_known):
    """See `turned` and `shapes_of`."""
    return shapes_of(turned(t_s, boundaries_s), load, angle_known=angle_known)
