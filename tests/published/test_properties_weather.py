"""The winter files under fixtures/weather hold what their sources hold: sums made before they were cut.

TMY3 (NREL) and ISD-Lite (NOAA) as packed in diyepw 1.3.1; see fixtures/weather/README.md for the checksums.
"""

import hashlib
import re
from pathlib import Path

import numpy as np
import pytest

from thermal.atp import heated_class_for

FOLDER = Path(__file__).parents[2] / "fixtures" / "weather"


def hours_and_temperatures(name):
    table = np.loadtxt(FOLDER / name, delimiter=",", skiprows=1)
    return table[:, 0].astype(int), table[:, 1]


def coldest_mean(temp_c, hours):
    """Lowest mean over that many consecutive rows [°C], and its first row."""
    sums = np.concatenate(([0.0], np.cumsum(temp_c)))
    means = (sums[hours:] - sums[:-hours]) / hours
    return means.min(), int(means.argmin())


def test_northways_typical_year_is_complete_and_its_coldest_hour_is_known():
    row, temp_c = hours_and_temperatures("northway-tmy3.csv")
    assert np.array_equal(row, np.arange(8760))
    assert (temp_c.min(), row[temp_c.argmin()]) == (-46.0, 8737)
    assert np.count_nonzero(temp_c <= -20.0) == 1793


def test_northways_coldest_day_and_half_day():
    _row, temp_c = hours_and_temperatures("northway-tmy3.csv")
    mean, first = coldest_mean(temp_c, 24)
    assert (mean, first) == (pytest.approx(-44.541667, abs=1e-6), 8729)
    assert coldest_mean(temp_c, 12)[0] == pytest.approx(-45.5, abs=1e-9)


DEGREE_DAYS = [("northway-tmy3.csv", 5767.69), ("ohare-tmy3.csv", 1802.27)]


@pytest.mark.parametrize(("name", "degree_days"), DEGREE_DAYS)
def test_degree_days_below_ten_degrees(name, degree_days):
    _row, temp_c = hours_and_temperatures(name)
    assert np.maximum(0.0, 10.0 - temp_c).sum() / 24.0 == pytest.approx(degree_days, abs=0.01)


def test_chicagos_typical_year():
    row, temp_c = hours_and_temperatures("ohare-tmy3.csv")
    assert np.array_equal(row, np.arange(8760))
    assert temp_c.min() == -22.8
    assert coldest_mean(temp_c, 24)[0] == pytest.approx(-18.31, abs=0.005)


def test_northway_as_observed_in_2019():
    hour, temp_c = hours_and_temperatures("northway-2019.csv")
    assert len(hour) == 8549
    assert np.all(np.diff(hour) > 0)
    assert (temp_c.min(), hour[temp_c.argmin()]) == (-43.9, 7 * 24 + 10)  # 8 January, 10:00 UTC


def test_a_typical_year_in_northway_is_colder_than_any_heated_class():
    # ATP heated class D was made for -40 °C (from memory): this winter needs a measured heater, not a class.
    _row, temp_c = hours_and_temperatures("northway-tmy3.csv")
    with pytest.raises(ValueError, match="no heated class"):
        heated_class_for(coldest_mean(temp_c, 24)[0])
    _row, chicago = hours_and_temperatures("ohare-tmy3.csv")
    assert heated_class_for(coldest_mean(chicago, 24)[0]).letter == "B"


def test_the_readme_states_the_checksum_of_every_file():
    readme = (FOLDER / "README.md").read_text("utf-8")
    stated = dict(re.findall(r"^\| `([\w-]+\.csv)` \| `([0-9a-f]{64})` \|$", readme, re.M))
    held = {path.name: hashlib.sha256(path.read_bytes()).hexdigest() for path in FOLDER.glob("*.csv")}
    assert stated == held
