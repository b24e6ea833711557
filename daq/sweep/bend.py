"""The posterior of the bend of a sweep: the evidence of its steps under the priors in force."""

from __future__ import annotations

from daq.sweep.evidence import Evidence
from daq.sweep.posterior import Posterior, Priors, posterior

PRIORS = Priors()


def bend_of(evidence: Evidence, priors: Priors = PRIORS) -> Posterior:
    """Where the bend may be, in forward millimetres, and whether there is one."""
    return posterior(
        evidence.forward_mm,
        evidence.hands_n,
        se=evidence.se_n,
        covariates=evidence.covariates,
        covariate_means=evidence.covariate_means,
        covariate_sds=evidence.covariate_sds,
        priors=priors,
        witness=evidence.witness,
    )
