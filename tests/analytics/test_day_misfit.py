"""How far a day lies from what is carried, against dense algebra."""

import numpy as np

from analytics.day_misfit import opened_in, shown_in
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
