"""A rider on elastic supports in MuJoCo, whose forces are read off like a jig's cells."""

import math

from daq.measure.balance import Contact

SEGMENTS = {  # mass kg, x m, y m: a seated rider, any distribution would do
    "trunk": (37.8, 0.00, 1.00), "head": (5.2, 0.28, 1.36), "arms": (7.4, 0.30, 0.95),
    "thighs": (21.2, -0.05, 0.72), "shanks": (6.5, 0.02, 0.38), "feet": (2.0, 0.02, 0.06),
}  # fmt: skip
MASS_KG = sum(mass for mass, _, _ in SEGMENTS.values())
PADS = {"hands": (0.55, 0.68), "saddle": (-0.20, 0.70), "pedal": (0.14, -0.09)}


def settled(gradient_pct: float) -> tuple[dict[str, Contact], float, float]:
    """Force of each pad on the rider after coming to rest, and the centre of mass (x, y) MuJoCo has then.

    Three soft ties to the world hold a rigid rider; how they share the load is the engine's affair.
    """
    import mujoco

    tilt = math.atan(gradient_pct / 100.0)
    bodies = "".join(
        f'<body pos="{x} {y} 0"><inertial pos="0 0 0" mass="{m}" diaginertia=".2 .2 .2"/></body>'
        for m, x, y in SEGMENTS.values()
    )
    ties = "".join(f'<connect body1="rider" anchor="{x} {y} 0" solref="0.02 1"/>' for x, y in PADS.values())
    model = mujoco.MjModel.from_xml_string(
        f'<mujoco><option timestep="0.001" tolerance="1e-14" iterations="100"'
        f' gravity="{-9.80665 * math.sin(tilt)} {-9.80665 * math.cos(tilt)} 0"/>'
        f'<worldbody><body name="rider"><joint type="slide" axis="1 0 0"/><joint type="slide" axis="0 1 0"/>'
        f'<joint type="hinge" axis="0 0 1"/><inertial pos="0 0 0" mass="1e-6" diaginertia="1e-6 1e-6 1e-6"/>{bodies}'
        f"</body></worldbody><equality>{ties}</equality></mujoco>"
    )
    data = mujoco.MjData(model)
    mujoco.mj_step(model, data, nstep=1500)
    mujoco.mj_forward(model, data)
    turned, moved = data.body("rider").xmat.reshape(3, 3), data.body("rider").xpos
    contacts = {}
    for k, (name, (x, y)) in enumerate(PADS.items()):
        at = moved + turned @ [x, y, 0.0]
        tangential_n, normal_n, _ = data.efc_force[3 * k : 3 * k + 3]
        contacts[name] = Contact(float(at[0]), float(at[1]), float(normal_n), float(tangential_n))
    com = data.body("rider").subtree_com
    return contacts, float(com[0]), float(com[1])
