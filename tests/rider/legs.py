"""One leg of the simulated rider."""

from daq.rider.pedalling import both_legs_ripple, one_leg_ripple


def leg_torque(crank_deg):
    """Torque of one leg over half the mean torque of both; the angle from that leg's top."""
    return 1.0 + one_leg_ripple(crank_deg) + both_legs_ripple(crank_deg)
