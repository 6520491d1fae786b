"""The search for a least cost: certified values of NIST, bent valleys, bounds, searches side by side."""

from collections.abc import Callable

import numpy as np
import numpy.typing as npt
import pytest

from analytics.least_cost import Costs, Evaluate, least_cost

Floats = npt.NDArray[np.float64]
Model = Callable[[Floats, Floats], tuple[Floats, Floats]]


def squares(x: Floats, y: Floats, model: Model, scale: Floats) -> Evaluate:
    """Half the sum of squares of a model's misses, by values over `scale`."""

    def evaluate(values: Floats, which: npt.NDArray[np.intp]) -> Costs:
        found = [model(x, scale * one) for one in values]
        missed = np.array([expected - y for expected, _ in found])
        by = np.array([slopes * scale for _, slopes in found])
        return Costs(
            0.5 * np.square(missed).sum(-1),
            np.einsum("sh,shv->sv", missed, by),
            np.einsum("shv,shw->svw", by, by),
        )

    return evaluate


def oxygen(x: Floats, b: Floats) -> tuple[Floats, Floats]:
    left = np.exp(-b[1] * x)
    return b[0] * (1.0 - left), np.column_stack([1.0 - left, b[0] * x * left])


def rational(x: Floats, b: Floats) -> tuple[Floats, Floats]:
    above, below = x * (x + b[1]), x * (x + b[2]) + b[3]
    return b[0] * above / below, np.column_stack(
        [above / below, b[0] * x / below, -b[0] * above * x / below**2, -b[0] * above / below**2]
    )


def transmittance(x: Floats, b: Floats) -> tuple[Floats, Floats]:
    away = (x - b[2]) / b[1]
    bell = np.exp(-0.5 * away**2) / b[1]
    return b[0] * bell, np.column_stack(
        [bell, b[0] * bell * (away**2 - 1.0) / b[1], b[0] * bell * away / b[1]]
    )


# NIST Statistical Reference Datasets, nonlinear regression, "higher level of difficulty": data, start 2,
# certified parameters and residual sum of squares.
CERTIFIED = {
    "BoxBOD": (
        oxygen,
        [1, 2, 3, 5, 7, 10],
        [109, 149, 149, 191, 213, 224],
        [100.0, 0.75],
        [2.1380940889e02, 5.4723748542e-01],
        1.1680088766e03,
    ),
    "MGH09": (
        rational,
        [4.0, 2.0, 1.0, 0.5, 0.25, 0.167, 0.125, 0.1, 0.0833, 0.0714, 0.0625],
        [0.1957, 0.1947, 0.1735, 0.16, 0.0844, 0.0627, 0.0456, 0.0342, 0.0323, 0.0235, 0.0246],
        [0.25, 0.39, 0.415, 0.39],
        [1.9280693458e-01, 1.9128232873e-01, 1.2305650693e-01, 1.3606233068e-01],
        3.0750560385e-04,
    ),
    "Eckerle4": (
        transmittance,
        [*range(400, 440, 5), *np.arange(436.5, 465.1, 1.5), *range(470, 501, 5)],
        [
            *(
                0.0001575,
                0.0001699,
                0.0002350,
                0.0003102,
                0.0004917,
                0.0008710,
                0.0017418,
                0.0046400,
                0.0065895,
            ),
            *(
                0.0097302,
                0.0149002,
                0.0237310,
                0.0401683,
                0.0712559,
                0.1264458,
                0.2073413,
                0.2902366,
                0.3445623,
            ),
            *(
                0.3698049,
                0.3668534,
                0.3106727,
                0.2078154,
                0.1164354,
                0.0616764,
                0.0337200,
                0.0194023,
                0.0117831,
            ),
            *(0.0074357, 0.0022732, 0.0008800, 0.0004579, 0.0002345, 0.0001586, 0.0001143, 0.0000710),
        ],
        [1.5, 5.0, 450.0],
        [1.5543827178, 4.0888321754, 451.54121844],
        1.4635887487e-03,
    ),
}


@pytest.mark.parametrize("name", CERTIFIED)
def test_certified_curves_come_back(name: str) -> None:
    model, x, y, start, certified, squared = CERTIFIED[name]
    scale = np.array(start)
    evaluate = squares(np.array(x, dtype=float), np.array(y, dtype=float), model, scale)
    open_ended = np.full(len(scale), np.inf)
    found = least_cost(evaluate, np.ones((1, len(scale))), (-open_ended, open_ended), 1e-14)
    assert found.is_settled.all()
    assert scale * found.place[0] == pytest.approx(np.array(certified), rel=1e-6)
    assert 2.0 * found.cost[0] == pytest.approx(squared, rel=1e-9)


def valley(values: Floats, which: npt.NDArray[np.intp]) -> Costs:
    """Rosenbrock's bent valley, its least of 0 at (1, 1); twice as deep for each further search."""
    a, b, depth = values[:, 0], values[:, 1], 1.0 + which
    missed = np.stack([10.0 * (b - a**2), 1.0 - a], axis=-1)
    by = np.zeros((len(a), 2, 2))
    by[:, 0, 0], by[:, 0, 1], by[:, 1, 0] = -20.0 * a, 10.0, -1.0
    return Costs(
        0.5 * depth * np.square(missed).sum(-1) + depth,
        depth[:, None] * np.einsum("sh,shv->sv", missed, by),
        depth[:, None, None] * np.einsum("shv,shw->svw", by, by),
    )


OPEN = (np.full(2, -np.inf), np.full(2, np.inf))
STARTS = np.array([[-1.2, 1.0], [3.0, -2.0], [0.9, 0.8], [-4.0, 9.0]])


def test_short_steps_through_a_bent_valley_do_not_end_a_search() -> None:
    found = least_cost(valley, STARTS, OPEN, 1e-12)
    assert found.is_settled.all()
    assert found.place == pytest.approx(np.ones((4, 2)), abs=1e-5)


def test_a_search_has_the_same_bits_alone_and_beside_others() -> None:
    together = least_cost(valley, STARTS, OPEN, 1e-12)
    for number, start in enumerate(STARTS):
        alone = least_cost(lambda at, which, n=number: valley(at, which + n), start[None], OPEN, 1e-12)
        assert alone.place[0].tobytes() == together.place[number].tobytes()
        assert alone.cost[0] == together.cost[number]


def test_a_bound_that_the_cost_presses_on_is_kept_and_the_rest_is_least_there() -> None:
    # With a held at 1/2 the valley's least is at b = a^2.
    found = least_cost(valley, STARTS[:1], (np.array([-5.0, -5.0]), np.array([0.5, 5.0])), 1e-12)
    assert found.is_settled.all()
    assert found.place[0] == pytest.approx([0.5, 0.25], abs=1e-6)


def test_where_the_cost_is_no_number_no_step_is_taken() -> None:
    # ln x - x / 2 by its half squares, defined above nothing alone; a whole step from 30 ends below it.
    def evaluate(values: Floats, which: npt.NDArray[np.intp]) -> Costs:
        with np.errstate(invalid="ignore"):
            missed = np.log(values[:, 0])
        return Costs(0.5 * missed**2 + 1.0, (missed / values[:, 0])[:, None], 1.0 / values[:, :, None] ** 2)

    found = least_cost(evaluate, np.array([[30.0]]), (np.array([-np.inf]), np.array([np.inf])), 1e-12)
    assert found.is_settled.all()
    assert found.place[0, 0] == pytest.approx(1.0, abs=1e-5)


def test_a_search_that_cannot_end_says_so() -> None:
    # The least of |x| is a kink, on which no slope vanishes.
    def evaluate(values: Floats, which: npt.NDArray[np.intp]) -> Costs:
        return Costs(np.abs(values[:, 0]) + 1.0, np.sign(values), np.ones((len(values), 1, 1)))

    found = least_cost(evaluate, np.array([[0.3]]), (np.array([-np.inf]), np.array([np.inf])), 1e-12)
    assert not found.is_settled.any()
    assert abs(found.place[0, 0]) < 1e-8
