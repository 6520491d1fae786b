"""Zip files: members are exports, names are labels, sizes are limited; what cannot be opened is said."""

import io
import zipfile
from pathlib import Path
from typing import Any

import pytest

from service.intake import archives

TEXT = "Time,SF1 amps\n2025-03-{:02d} 00:00,10.5\n"


def zipped(members: dict[str, str | bytes]) -> bytes:
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in members.items():
            archive.writestr(name, content)
    return packed.getvalue()


def test_each_member_is_an_export_and_no_name_is_a_path(plant: Any) -> None:
    plant.declare(source='files = "*.zip"')
    names = ("a.csv", "../../up.csv", "/root/b.csv", "C:\\c.csv", ".hidden.csv", "__MACOSX/d.csv")
    plant.drop("night.zip", zipped({name: TEXT.format(day) for day, name in enumerate(names, 1)}))
    before = set(Path(plant.folder.parent).rglob("*.csv"))
    plant.pull()
    assert sorted(plant.intake()["file"]) == [
        "night.zip/C:/c.csv",
        "night.zip/a.csv",
        "night.zip/root/b.csv",
        "night.zip/up.csv",
    ]
    assert len(plant.cells("SF-1", "current_a")) == 4
    assert set(Path(plant.folder.parent).rglob("*.csv")) == before
    assert plant.pull().skipped == 4


def test_members_that_are_one_point_each_are_named_by_their_names(plant: Any) -> None:
    plant.declare(source='files = "*.zip"')
    text = "Time,Value\n2025-03-01 00:00,7\n"
    plant.drop("night.zip", zipped({"SF1 amps.csv": text, "deep/EF1 amps.csv": text}))
    plant.pull()
    assert list(plant.cells("SF-1", "current_a").values()) == [7]
    assert list(plant.cells("EF-1", "current_a").values()) == [7]


@pytest.mark.parametrize(
    ("members", "limit", "value"),
    [
        ({"a.csv": TEXT.format(1), "b.csv": TEXT.format(2)}, "MEMBER_LIMIT", 1),
        ({"a.csv": b" " * 100_000}, "UNPACKED_LIMIT", 50_000),
    ],
)
def test_a_zip_beyond_its_limits_is_refused_with_its_reason(
    plant: Any, monkeypatch: pytest.MonkeyPatch, members: dict[str, Any], limit: str, value: int
) -> None:
    monkeypatch.setattr(archives, limit, value)
    plant.declare(source='files = "*.zip"')
    plant.drop("big.zip", zipped(members))
    plant.pull()
    row = plant.intake().iloc[0]
    assert (row["file"], row["rows_read"]) == ("big.zip", 0)
    assert "too large" in row["decided"]
    assert plant.pull().skipped == 1


def test_a_half_written_zip_is_refused_and_the_whole_one_read_later(plant: Any) -> None:
    plant.declare(source='files = "*.zip"')
    whole = zipped({"a.csv": TEXT.format(1)})
    plant.drop("a.zip", whole[: len(whole) // 2])
    plant.pull()
    assert "not whole yet" in plant.intake().iloc[0]["decided"]
    plant.drop("a.zip", whole)
    plant.pull()
    assert list(plant.cells("SF-1", "current_a").values()) == [10.5]
