"""Whether torque is worth planning as a second variable: `python -m tests.benchmarks.onset_torque [sweeps]`.

A rider whose onset comes 12 mm further forward with each N m (an assumption of mechanics), ridden at 11 places at one
torque, or at 5 places at three torques 1 N m apart, 15 steps of the same error: through the estimator as it stands,
which knows torque as something that moves hand load alike everywhere.
"""

import os

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import sys

import numpy as np

from daq.sweep.onset import onset
from daq.sweep.plan import out_and_back
from tests.benchmarks.onset_rides import CENTRAL_MM, FRONT_MM, MINUTES_PER_STEP, REAR_MM, step_of

MM_PER_NM, SIGMA_N = 12.0, 2.83
PLANS = {
    "11 places, one torque": [(mm, 0.0) for mm in out_and_back(REAR_MM, FRONT_MM, 11)],
    "5 places, three torques": [(mm, q) for q in (0.0, 1.0, -1.0) for mm in out_and_back(REAR_MM, FRONT_MM, 5)],
    "5 places, one torque, three times": [(mm, 0.0) for _ in range(3) for mm in out_and_back(REAR_MM, FRONT_MM, 5)],
}


def ridden(plan, added, rng):
    """Onset at the middle torque, and the steps."""
    onset_mm = rng.uniform(*CENTRAL_MM)
    steps = []
    for i, (setback_mm, torque_nm) in enumerate(plan):
        load = 80.0 + added * max(onset_mm - MM_PER_NM * torque_nm - setback_mm, 0.0) + SIGMA_N * rng.standard_normal()
        steps.append(step_of(setback_mm, load, i * MINUTES_PER_STEP, SIGMA_N, 21.0 + torque_nm))
    return onset_mm, steps


def main(sweeps):
    print("| plan | rise, N/mm | named | rmse, mm | covers |\n|---|---|---|---|---|")
    for name, plan in PLANS.items():
        for added in (0.5, 1.0, 1.5):
            rng = np.random.default_rng([sweeps, round(10 * added), len(plan)])
            errors, covers = [], []
            for _ in range(sweeps):
                truth_mm, steps = ridden(plan, added, rng)
                answer = onset(steps)
                if answer.onset_mm is not None:
                    low, high = answer.interval_95_mm
                    errors.append(answer.onset_mm - truth_mm)
                    covers.append(low <= truth_mm <= high)
            rmse, covered = (np.sqrt(np.mean(np.square(errors))), np.mean(covers)) if errors else (np.nan, np.nan)
            print(f"| {name} | {added:g} | {len(errors) / sweeps:.2f} | {rmse:.2f} | {covered:.2f} |", flush=True)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 200)
