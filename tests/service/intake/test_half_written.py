"""A file cut anywhere while it was written, and whole the next time, ends as if it had always been whole."""

from typing import Any

import pandas as pd
import pytest

WHOLE = {
    "wide": "Time,SF1 speed,SF1 amps\n2025-03-01 00:00,50.25,10.5\n2025-03-01 00:15,60.75,-11.5\n",
    "quoted": 'Time,"SF1, old",SF1 amps\n"2025-03-01 00:00","a ""b""",10.5\n"2025-03-01 00:15",,"1,011.5"\n',
    "semicolons": "Time;SF1 speed;SF1 amps\n01.03.2025 00:00;50,25;10,5\n31.03.2025 00:15;60,75;11,5\n",
    "long": "Time,Point,Value\n2025-03-01 00:00,SF1 amps,10.5\n2025-03-01 00:15,SF1 speed,60.75\n",
    "offsets": "Time,SF1 amps\n2025-03-01T00:00:00+01:00,10.5\n2025-03-01T00:15:00+01:00,1.15e1\n",
    "epochs": "Time,SF1 amps\n1740812400,10.5\n1740813300,11.5\n",
    "a total": "Time,SF1 amps\n2025-03-01 00:00,10.5\n2025-03-01 00:15,11.5\nTotal,22\n",
}


def cuts(name: str, count: int | None) -> list[int]:
    """Return where to cut: everywhere, or at some places spread over the file."""
    size = len(WHOLE[name])
    return (
        list(range(1, size))
        if count is None
        else [size * place // (count + 1) for place in range(1, count + 1)]
    )


@pytest.mark.parametrize("name", WHOLE)
@pytest.mark.parametrize("count", [2, pytest.param(None, marks=pytest.mark.long)], ids=["some", "every"])
def test_a_cut_file_leaves_nothing_behind_once_it_is_whole(plants: Any, name: str, count: int | None) -> None:
    whole = plants()
    whole.drop("a.csv", WHOLE[name], 2000.0)
    whole.pull()
    expected = whole.readings()
    for cut in cuts(name, count):
        plant = plants()
        plant.drop("a.csv", WHOLE[name][:cut], 1000.0)
        plant.pull()
        plant.drop("a.csv", WHOLE[name], 2000.0)
        plant.pull()
        pd.testing.assert_frame_equal(plant.readings(), expected)
        counts = plant.intake()
        assert (
            counts["rows_read"] == counts[["stored", "identical", "superseded", "refused"]].sum(axis=1)
        ).all()
