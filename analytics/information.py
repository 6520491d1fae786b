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
    by_parameter = np.ascontiguousarray(np.moveaxis(slopes, (1, 2), (3, 2)))
    return information_by_parameter(by_parameter, residuals, precision, day_covariance)


def information_by_parameter(
    slopes: Floats, residuals: Floats, precision: Floats, day_covariance: Floats
) -> tuple[Floats, Floats]:
    """Return the information of a batch of days whose slopes stand with a parameter's hours side by side.

    Parameters: `slopes` (days, parameters, channels, hours); the others, returns, equation: as for
    `day_information`.
    """
    days, parameters, channels, hours = slopes.shape
    # Channels are few: one product of whole arrays a pair of them, in place of a small product an hour.
    by_channel = np.ascontiguousarray(np.moveaxis(precision, 1, 3))[:, :, :, None]
    weighted, part = np.empty_like(slopes), np.empty((days, parameters, hours))
    for row in range(channels):
        np.multiply(by_channel[:, row, 0], slopes[:, :, 0], out=weighted[:, :, row])
        for column in range(1, channels):
            np.multiply(by_channel[:, row, column], slopes[:, :, column], out=part)
            weighted[:, :, row] += part
    # A day's channels and hours as one row of readings; sums as products, which are one call a day.
    readings = weighted.reshape(days, parameters, -1)
    own = slopes.reshape(days, parameters, -1) @ np.swapaxes(readings, 1, 2)
    residual = np.ascontiguousarray(np.swapaxes(residuals, 1, 2)).reshape(days, -1, 1)
    pulled = (readings @ residual)[..., 0]
    shared = (weighted.reshape(days, -1, hours) @ np.ones(hours)).reshape(days, parameters, channels)
    weighted_residuals = (precision @ residuals[..., None])[..., 0].sum(axis=1)
    total = precision.sum(axis=1)
    common = day_covariance @ np.linalg.inv(np.eye(channels) + total @ day_covariance)
    told = shared @ common
    information = own - told @ np.swapaxes(shared, 1, 2)
    pull = pulled - (told @ weighted_residuals[..., None])[..., 0]
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
