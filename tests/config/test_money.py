"""Tariffs by month and hour, demand charges, prices of work: what they mean and how faults are said."""

from pathlib import Path

import numpy as np
import pytest

from config import FaultySite, load_site

FANS = "fan,drive,motor_hp,speed_point\nAHU-1,v_belt,20,AHU1 SPD\n"


def site_of(folder: Path, text: str) -> Path:
    (folder / "site.toml").write_text(
        'name = "Campus"\ntimezone = "America/Denver"\n' + text, encoding="utf-8"
    )
    (folder / "fans.csv").write_text(FANS, encoding="utf-8")
    return folder


def test_hours_go_before_months_and_months_before_the_flat_price(tmp_path: Path) -> None:
    text = (
        "energy_price_per_kwh = 0.10\n[tariff]\nby_month = [1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12]\n"
        '[[tariff.hours]]\nprice_per_kwh = 0.5\ndays = ["Tue"]\nfrom = 14\nto = 20\n'
    )
    site = load_site(site_of(tmp_path, text)).site
    prices = site.tariff.prices(site.energy_price_per_kwh)
    assert prices.shape == (12, 168)
    tuesday = prices[6, 24:48]
    assert np.flatnonzero(tuesday == 0.5).tolist() == [14, 15, 16, 17, 18, 19]
    assert tuesday[13] == 7.0
    assert prices[11, 0] == 12.0


def test_without_a_tariff_every_hour_costs_the_same(tmp_path: Path) -> None:
    site = load_site(site_of(tmp_path, "energy_price_per_kwh = 0.10\n")).site
    assert np.all(site.tariff.prices(site.energy_price_per_kwh) == 0.10)
    assert site.tariff.demand_per_kw_month == 0.0
    assert site.prices.labour_per_hour > 0.0


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("[tariff]\nby_mont = [1]\n", "tariff.by_mont: is not a known key; did you mean by_month?"),
        ("[tariff]\nby_month = [0.1, 0.2]\n", "has 2 prices in by_month; write twelve"),
        ("[[tariff.hours]]\nprice_per_kwh = 1\nfrom = 20\nto = 6\n", "split hours that pass midnight"),
        ('[[tariff.hours]]\nprice_per_kwh = 1\ndays = ["Monday"]\n', "did you mean Mon?"),
        ("[[tariff.hours]]\nprice_per_kwh = 1\nto = 25\n", "is out of range (from 0 to 24)"),
        ("[prices]\nlabor_per_hour = 80\n", "did you mean labour_per_hour?"),
        ("[prices]\nbelt_each = -3\n", "is out of range"),
    ],
)
def test_faults_name_the_key_and_what_to_do(tmp_path: Path, text: str, said: str) -> None:
    with pytest.raises(FaultySite) as refused:
        load_site(site_of(tmp_path, text))
    assert said in str(refused.value)
