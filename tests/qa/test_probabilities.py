"""What is nearly never or nearly always is not told as never or always."""

import pytest

from qa.wording.probabilities import fine_percent, percent, thousandths


@pytest.mark.parametrize(
    ("share", "column", "plan", "fine"),
    [
        (0.97725, "0.977", "97.7 %", "97.7 %"),
        (0.99949, "0.999", "99.9 %", "99.949 %"),
        (0.99951, "> 0.999", "above 99.9 %", "99.951 %"),
        (1 + 1e-15, "> 0.999", "above 99.9 %", "above 99.999 %"),
        (0.0004, "< 0.001", "below 0.1 %", "0.040 %"),
        (-1e-12, "< 0.001", "below 0.1 %", "below 0.001 %"),
        (0.0006, "0.001", "0.1 %", "0.060 %"),
    ],
)
def test_a_probability_is_told_as_far_as_it_is_known(share, column, plan, fine):
    assert (thousandths(share), percent(share), fine_percent(share)) == (
        column,
        plan,
        fine,
    )
