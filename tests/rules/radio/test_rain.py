"""Rain by ITU-R P.838-3, against its published Table 5."""

from __future__ import annotations

import pytest

from verifier.rules.radio import path

TABLE_5 = """
1    0.0000259 0.9691  0.0000308 0.8592
6    0.0007056 1.5900  0.0004878 1.5728
7    0.001915  1.4810  0.001425  1.4745
8    0.004115  1.3905  0.003450  1.3797
10   0.01217   1.2571  0.01129   1.2156
11   0.01772   1.2140  0.01731   1.1617
12   0.02386   1.1825  0.02455   1.1216
13   0.03041   1.1586  0.03266   1.0901
15   0.04481   1.1233  0.05008   1.0440
18   0.07078   1.0818  0.07708   1.0025
20   0.09164   1.0568  0.09611   0.9847
23   0.1286    1.0214  0.1284    0.9630
25   0.1571    0.9991  0.1533    0.9491
30   0.2403    0.9485  0.2291    0.9129
38   0.4001    0.8816  0.3844    0.8552
40   0.4431    0.8673  0.4274    0.8421
80   1.1704    0.7115  1.1668    0.7021
"""
"""GHz, kH, alphaH, kV, alphaV: ITU-R P.838-3 (03/2005), Table 5, rows in use by fixed links."""
ROWS = [tuple(map(float, line.split())) for line in TABLE_5.split("\n") if line]


@pytest.mark.parametrize("row", ROWS, ids=[f"{r[0]:g} GHz" for r in ROWS])
def test_coefficients_are_those_of_the_published_table(row: tuple[float, ...]) -> None:
    ghz, k_h, alpha_h, k_v, alpha_v = row
    for polarisation, k, alpha in (("H", k_h, alpha_h), ("V", k_v, alpha_v)):
        found = path.coefficients(ghz, polarisation)  # type: ignore[arg-type]
        assert found[0] == pytest.approx(k, rel=5e-4)
        assert found[1] == pytest.approx(alpha, abs=5e-5)


def test_superseded_coefficients_are_not_in_use() -> None:
    """P.838-1 gave kH 0.0101 at 10 GHz and 0.0751 at 20 GHz."""
    assert path.coefficients(10, "H")[0] > 0.012
    assert path.coefficients(20, "H")[0] > 0.09


@pytest.mark.parametrize(
    ("ghz", "km", "db"),
    [
        (7, 30, 0.3281 * 30),
        (11, 10, 12.570),
        (18, 10, 31.117),
        (23, 5, 4.4794 * 5),
        (38, 2, 18.027),
    ],
)
def test_what_40_mm_an_hour_take_on_a_path(ghz: float, km: float, db: float) -> None:
    """By hand from Table 5, vertical: k 40^alpha times the path."""
    assert path.most_db(ghz, 40, km, "V") == pytest.approx(db, rel=2e-3)


def test_no_rain_takes_nothing_and_an_unknown_polarisation_the_more() -> None:
    assert path.most_db(23, 0, 10, "V") == 0.0
    both = path.most_db(18, 40, 10, "V"), path.most_db(18, 40, 10, "H")
    assert path.most_db(18, 40, 10, None) == max(both) == both[1]
