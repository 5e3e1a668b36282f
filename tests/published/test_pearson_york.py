"""A line through Pearson's points with York's weights: the usual check of a fit in both variables.

Points: Pearson, Philosophical Magazine 2 (1901), 559. Weights: York, Canadian Journal of Physics 44
(1966), 1079. Answers, as two public test suites print them (read there): intercept 5.479910224,
slope −0.480533407, standard uncertainties 0.294970735 and 0.0579850090, reduced chi-square
1.483294149.
"""

import numpy as np
import pytest

from roadtest.measures.straight_line import fit_line

pytestmark = pytest.mark.source(
    "Pearson, Philosophical Magazine 2 (1901), 559; York, Can. J. Phys. 44 (1966), 1079",
    "answers read in two public test suites",
)

X = np.array([0.0, 0.9, 1.8, 2.6, 3.3, 4.4, 5.2, 6.1, 6.5, 7.4])
Y = np.array([5.9, 5.4, 4.4, 4.6, 3.5, 3.7, 2.8, 2.8, 2.4, 1.5])
U_X = 1.0 / np.sqrt([1000.0, 1000.0, 500.0, 800.0, 200.0, 80.0, 60.0, 20.0, 1.8, 1.0])
U_Y = 1.0 / np.sqrt([1.0, 1.8, 4.0, 8.0, 20.0, 20.0, 70.0, 70.0, 100.0, 500.0])


def test_errors_in_both_variables() -> None:
    line = fit_line(X, Y, U_X, U_Y)
    assert line.intercept == pytest.approx(5.479910224, abs=0.5e-9)
    assert line.slope == pytest.approx(-0.480533407, abs=0.5e-9)
    assert line.u_intercept == pytest.approx(0.294970735, abs=1e-9)
    assert line.u_slope == pytest.approx(0.0579850090, abs=0.5e-10)
    assert line.chi_square is not None
    assert line.chi_square / line.degrees_of_freedom == pytest.approx(1.483294149, abs=0.5e-9)
