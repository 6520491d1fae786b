"""What of a batch's states does a row of the ledger rest on?"""

from dataclasses import dataclass

import numpy as np

from analytics.arrays import Floats
from analytics.model import Parameter
from analytics.state import State
from analytics.watch import CARRIED

_SLIP, _DRAG = CARRIED.index(Parameter.SLIP), CARRIED.index(Parameter.DRAG)
_STEEPNESS = CARRIED.index(Parameter.SLIP_STEEPNESS)


@dataclass(frozen=True, slots=True)
class Marginals:
    """A batch of states without most of their covariances; axes fans, explanations, carried parameters.

    `mean` and `variance` (fans, explanations, WIDTH); the covariances of slip with drag, `slip_drag`, and
    with the slip law's steepness, `slip_steepness`, (fans, explanations); `log_weight` (fans, explanations).
    """

    mean: Floats
    variance: Floats
    slip_drag: Floats
    slip_steepness: Floats
    log_weight: Floats

    @property
    def weight(self) -> Floats:
        """The posterior probability of each explanation (fans, explanations)."""
        return np.exp(self.log_weight)


def marginals(state: State) -> Marginals:
    """Return what rows rest on, without holding on to the state's covariances."""
    covariance = state.covariance
    return Marginals(
        state.mean,
        np.diagonal(covariance, axis1=2, axis2=3).copy(),
        covariance[..., _SLIP, _DRAG].copy(),
        covariance[..., _SLIP, _STEEPNESS].copy(),
        state.log_weight,
    )
