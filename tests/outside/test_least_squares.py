"""The clock fit against published worked examples.

Sources: NIST StRD "Norris" and "Pontius" (certified values; seen in several public copies)
and JCGM 100 (GUM) H.3, calibration of a thermometer (data seen; the published
results -0.1712/0.0029, 0.00218/0.00067, r -0.930, s 0.0035 from memory).
"""

from __future__ import annotations

import pytest

from bench.judge.clock import bend, least_squares

NORRIS = """0.2,0.1 337.4,338.8 118.2,118.1 884.6,888.0 10.1,9.2 226.5,228.1 666.3,668.5 996.3,998.5
448.6,449.1 777.0,778.9 558.2,559.2 0.4,0.3 0.6,0.1 775.5,778.1 666.9,668.8 338.0,339.3 447.5,448.9
11.6,10.8 556.0,557.7 228.1,228.3 995.8,998.0 887.6,888.8 120.2,119.6 0.3,0.3 0.3,0.6 556.8,557.6
339.1,339.3 887.2,888.0 999.0,998.5 779.0,778.9 11.1,10.2 118.3,117.6 229.2,228.9 669.1,668.4
448.9,449.2 0.5,0.2"""


def test_nist_strd_norris():
    points = [tuple(map(float, pair.split(","))) for pair in NORRIS.split()]
    line = least_squares([x for x, _ in points], [y for _, y in points])
    assert len(points) == 36
    assert line.slope == pytest.approx(1.00211681802045, rel=1e-12)
    assert line.intercept - line.slope * line.x_mean == pytest.approx(-0.262323073774029, rel=1e-11)
    assert line.slope_u == pytest.approx(0.429796848199937e-3, rel=1e-11)
    assert line.residual_sd == pytest.approx(0.884796396144373, rel=1e-12)


def test_gum_h3_thermometer():
    t = [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511]
    b = [-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160]
    line = least_squares([ti - 20 for ti in t], b)
    assert line.slope == pytest.approx(0.0021827, abs=5e-8)
    assert line.slope_u == pytest.approx(0.0006679, abs=5e-8)
    assert line.residual_sd == pytest.approx(0.003498, abs=5e-7)
    # at the mean, 24.00845 degC, where slope and intercept are not correlated
    assert line.x_mean + 20 == pytest.approx(24.00845, abs=5e-6)
    assert line.intercept == pytest.approx(-0.162455, abs=5e-7)
    assert line.intercept_u == pytest.approx(0.001055, abs=5e-7)
    # the correction at 30 degC and its uncertainty
    away = 10 - line.x_mean
    assert line.intercept + line.slope * away == pytest.approx(-0.149377, abs=5e-7)
    assert (line.intercept_u**2 + (away * line.slope_u) ** 2) ** 0.5 == pytest.approx(0.004139, abs=5e-7)


PONTIUS = """.11019 .21956 .32949 .43899 .54803 .65694 .76562 .87487 .98292 1.09146 1.20001 1.30822 1.41599 1.52399
1.63194 1.73947 1.84646 1.95392 2.06128 2.16844 .11052 .22018 .32939 .43886 .54798 .65739 .76596 .87474 .98300
1.09150 1.20004 1.30818 1.41613 1.52408 1.63159 1.73965 1.84696 1.95445 2.06177 2.16829"""


def test_nist_strd_pontius_curvature():
    # certified: B2 -0.316081871345029e-14 with standard deviation 0.486652849992036e-16
    y = [float(value) for value in PONTIUS.split()]
    x = [150_000.0 * (1 + n % 20) for n in range(40)]
    found = bend(x, y, least_squares(x, y))
    assert found.curvature == pytest.approx(-0.316081871345029e-14, rel=1e-9)
    assert found.curvature_u == pytest.approx(0.486652849992036e-16, rel=1e-9)
