"""How much do a day's hours say about the parameters, when their errors are shared within the day?"""

import numpy as np

from analytics.arrays import Floats


def day_information(
    slopes: Floats, residuals: Floats, precision: Floats, day_covariance: Floats
) -> tuple[Floats, Floats]:
    """Return the information of a batch of days and its pull on the parameters.

    The hours of a day share one error (weather, a sensor's mood) beside their own, so that twenty-four
    hours are not twenty-four samples.

    Parameters: `slopes` (days, hours, channels, parameters); `residuals` (days, hours, channels),
    measured less expected; `precision` (days, hours, channels, channels), the inverse covariance of
    an hour's own error, zero where the hour or the channel does not count; `day_covariance`
    (days, channels, channels) of the shared error.
    Returns: information (days, parameters, parameters) and pull (days, parameters).
    Equation: for R = diag(R_h) + 1 1' D, with s = sum W H and w = sum W, W = R_h^-1:
    H' R^-1 H = sum H' W H - s' C s, C = D (I + w D)^-1 (matrix inversion lemma).
    """
    weighted = precision @ slopes
    # A day's hours and channels as one row of readings: one product a day in place of one an hour.
    readings = (len(slopes), -1, slopes.shape[-1])
    transposed = np.swapaxes(slopes.reshape(readings), 1, 2)
    own = transposed @ weighted.reshape(readings)
    shared = weighted.sum(axis=1)
    weighted_residuals = (precision @ residuals[..., None])[..., 0]
    pulled = (np.swapaxes(weighted.reshape(readings), 1, 2) @ residuals.reshape(len(slopes), -1, 1))[..., 0]
    total = precision.sum(axis=1)
    identity = np.eye(total.shape[-1])
    common = day_covariance @ np.linalg.inv(identity + total @ day_covariance)
    shared_transposed = np.swapaxes(shared, -1, -2)
    information = own - shared_transposed @ common @ shared
    pull = pulled - (shared_transposed @ common @ weighted_residuals.sum(axis=1)[..., None])[..., 0]
    return 0.5 * (information + np.swapaxes(information, -1, -2)), pull


def hour_precision(covariance: Floats, is_counted: Floats, spread: Floats) -> Floats:
    """Return the inverse covariance of hours with missing channels and unequal spread.

    Parameters: `covariance` (days, channels, channels) of an hour at spread 1; `is_counted`
    (days, hours, channels) weight 0 to 1 of each reading; `spread` (days, hours, channels), the
    factor on the standard deviation. Returns: (days, hours, channels, channels).
    """
    inverse = np.linalg.inv(covariance)[:, None]
    scale = np.sqrt(is_counted) / spread
    return np.asarray(inverse * scale[..., :, None] * scale[..., None, :])
