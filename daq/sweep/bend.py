"""The posterior of the bend of a sweep: the evidence of its steps under the priors in force."""

from __future__ import annotations

from dataclasses import replace

from daq.sweep.belief import WidePriors, belief
from daq.sweep.evidence import StepEvidence
from daq.sweep.posterior import Posterior, Priors, posterior

PRIORS = WidePriors()
STEEPER_RISES = replace(PRIORS, added_slopes=(0.45, 1.2), lightest=12.0)
"""Those of `hinge-posterior/4`."""
BEND_LIKELIER = replace(STEEPER_RISES, onset=0.37, light=0.33, loaded=0.3)
"""Those of `hinge-posterior/3`."""
BEFORE = Priors()
"""Those of `hinge-posterior/1` and `/2`."""


def bend_of(evidence: StepEvidence, priors: WidePriors = PRIORS) -> Posterior:
    """Where the bend may be, in forward millimetres, and whether there is one."""
    return belief(evidence, priors)


def bend_before(evidence: StepEvidence) -> Posterior:
    """The same under `hinge-posterior/1` and `/2`."""
    return posterior(
        evidence.forward_mm,
        evidence.hands_n,
        se=evidence.se_n,
        covariates=evidence.covariates,
        covariate_means=evidence.covariate_means,
        covariate_sds=evidence.covariate_sds,
        priors=BEFORE,
        witness=evidence.witness,
    )
