"""How far a day lies from what is carried, against dense algebra."""

import numpy as np

from analytics.day_misfit import opened_in, sayings, shown_in
from analytics.explanations import CAUSE_COUNT
from analytics.inverse_roots import inverse_roots
from analytics.watch import WIDTH


def covariances(*shape: int) -> np.ndarray:
    root = np.random.default_rng(3).normal(size=(*shape, shape[-1]))
    return root @ np.swapaxes(root, -1, -2) + np.eye(shape[-1])


def test_inverse_roots_are_those_of_dense_algebra() -> None:
    matrices = covariances(5, 3, 8)
    roots, log_det = inverse_roots(matrices)
    np.testing.assert_allclose(np.swapaxes(roots, -1, -2) @ roots, np.linalg.inv(matrices), rtol=1e-9)
    np.testing.assert_allclose(log_det, np.linalg.slogdet(matrices)[1], rtol=1e-12)
    assert not roots[..., *np.triu_indices(8, 1)].any()


def test_a_matrix_alone_has_the_same_inverse_root_as_among_others() -> None:
    matrices = covariances(7, 3, 8)
    roots, log_det = inverse_roots(matrices)
    for i, one in enumerate(matrices):
        alone, alone_log_det = inverse_roots(one[1])
        assert np.array_equal(alone, roots[i, 1])
        assert alone_log_det == log_det[i, 1]


def test_causes_opened_after_the_products_are_those_opened_before() -> None:
    carried = covariances(2, 3, WIDTH)
    slopes = np.random.default_rng(4).normal(size=(2, WIDTH, 8))
    added = np.zeros((2, 3, CAUSE_COUNT))
    added[0, 1, 0], added[1, 2, [1, 4]] = 2.0, (0.5, 3.0)
    opened = carried.copy()
    opened[:, :, np.arange(CAUSE_COUNT), np.arange(CAUSE_COUNT)] += added
    found, wanted = opened_in(shown_in(carried, slopes), slopes, added), shown_in(opened, slopes)
    for name in ("along", "spread", "root", "log_det"):
        np.testing.assert_allclose(getattr(found, name), getattr(wanted, name), rtol=1e-9, atol=1e-9)


def test_readings_say_what_the_hours_say_of_all_that_is_open() -> None:
    rng = np.random.default_rng(5)
    # Two channels that answer to a few things alike: six directions matter, the rest are faint.
    strength = np.array([30.0, 9.0, 3.0, 1.0, 0.3, 0.1, *np.full(10, 1e-5)])
    design = np.sqrt(strength)[:, None] * np.linalg.qr(rng.normal(size=(WIDTH, 16)))[0].T
    open_sd = rng.uniform(1e-3, 1.0, (1, WIDTH))
    open_sd[0, -3:] = 1e-9
    seen = rng.normal(size=16) * np.sqrt(strength)
    information = (design.T @ design)[None] / open_sd[:, :, None] / open_sd[:, None, :]
    pull = (design.T @ seen)[None] / open_sd
    said = sayings(open_sd, information, pull)
    unsaid = information - said.slopes @ np.swapaxes(said.slopes, 1, 2)
    left = np.linalg.eigvalsh(unsaid * open_sd[:, :, None] * open_sd[:, None, :])
    assert left.min() > -1e-9
    assert left.max() < 1e-3
    pulled = (said.slopes @ said.values[..., None])[..., 0] * open_sd
    np.testing.assert_allclose(pulled, pull * open_sd, atol=0.03)
    # What is pinned is not taken for a reading, and nothing is said on a day without hours.
    assert not np.isnan(said.slopes).any()
    nothing = sayings(open_sd, np.zeros_like(information), np.zeros_like(pull))
    assert not nothing.slopes.any()
    assert not nothing.values.any()


def test_a_fan_says_the_same_alone_as_among_others() -> None:
    root = np.random.default_rng(7).normal(size=(4, WIDTH, WIDTH))
    information = root @ np.swapaxes(root, 1, 2)
    open_sd, pull = np.random.default_rng(6).uniform(0.1, 1.0, (2, 4, WIDTH))
    together = sayings(open_sd, information, pull)
    for i in range(4):
        alone = sayings(open_sd[i : i + 1], information[i : i + 1], pull[i : i + 1])
        assert np.array_equal(alone.slopes[0], together.slopes[i])
        assert np.array_equal(alone.values[0], together.values[i])
