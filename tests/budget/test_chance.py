"""How likely limits are to hold: against probabilities known on paper."""

import math

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import norm

from simkit.budget.chance import Chance, chance, verdict
from simkit.budget.contributions import NORMAL, PINS, UNIFORM, Contribution
from simkit.budget.rows import GOUGE, make_rows
from simkit.compare.pin_pair import PinPair


def rows_of(values, limit):
    n = len(values)
    zero = np.zeros((n, 3))
    return make_rows(GOUGE, 2, zero, values, limit, zero, np.zeros(n), zero, np.zeros(n))


def part(size, column, shape=UNIFORM, key="key"):
    return Contribution(key, "words", size, "mm", shape, np.asarray(column, float) * size)


def test_one_even_error():
    """0.1 of 0.25 either way: 40 % of it."""
    found = chance(rows_of([0.0, 0.0], 0.1), [part(0.25, [1.0, -1.0])], 0.0)
    assert found.holds == pytest.approx(0.4, abs=max(found.bound, 1e-4))
    assert found.bound < 0.002


def test_two_even_errors():
    """The sum of two errors of 0.1 is above 0.15 with 0.05^2 / 2 of 0.2^2."""
    found = chance(rows_of([0.0], 0.15), [part(0.1, [1.0]), part(0.1, [1.0])], 0.0)
    assert found.holds == pytest.approx(1 - 0.05**2 / 2 / 0.2**2, abs=found.bound)
    assert found.bound < 0.002
    assert found.shares == pytest.approx([0.5, 0.5])


def test_normal_error():
    found = chance(rows_of([0.02], 0.1), [part(0.05, [1.0], NORMAL)], 0.0)
    assert found.holds == pytest.approx(norm.cdf(0.08 / 0.05), abs=found.bound + 1e-4)
    assert part(0.05, [1.0], NORMAL).standard == 0.05
    assert part(0.05, [1.0]).standard == pytest.approx(0.05 / math.sqrt(3))


def test_shares__are_those_of_the_variances():
    """GUM 5.1.2: (1 * 0.03)^2 normal against (2 * 0.06 / sqrt 3)^2 even."""
    parts = [part(0.03, [1.0], NORMAL), part(0.06, [2.0])]
    shares = chance(rows_of([0.0], 0.1), parts, 0.0).shares
    assert shares == pytest.approx(np.array([9, 48]) / 57)


def test_work_on__what_costs_the_most_and_not_the_share_at_one_place():
    """One place breaks in 1 of 4, of "high"; two others in 1 of 5 each, of "plan": more together."""
    parts = [part(0.2, [1.0, 0.0, 0.0], key="high"), part(0.2, [0.0, 1.0, -1.0], key="plan")]
    found = chance(rows_of(np.zeros(3), [0.1, 0.12, 0.12]), parts, 0.0)
    assert found.first == 0
    assert found.shares == pytest.approx([1.0, 0.0])
    assert found.holds == pytest.approx(0.75 * 0.6, abs=0.005)
    assert found.without == pytest.approx([0.6, 0.75], abs=0.005)
    assert (found.work_on, found.holds_without) == (1, pytest.approx(0.75, abs=0.005))


def test_work_on__errors_of_one_key_count_together():
    """Each of two of "plan", 0.15 of 1, costs less than "high", 0.25 of 1; both together more."""
    parts = [part(0.2, row, key=key) for row, key in zip(np.eye(3), ("high", "plan", "plan"), strict=True)]
    found = chance(rows_of(np.zeros(3), [0.1, 0.14, 0.14]), parts, 0.0)
    assert found.without == pytest.approx([0.85**2, 0.75 * 0.85, 0.75 * 0.85], abs=0.005)
    assert (found.work_on, found.holds_without) == (1, pytest.approx(0.75, abs=0.005))


def test_rows__many_that_never_matter_change_nothing():
    rng = np.random.default_rng(3)
    parts = [part(0.2, np.r_[1.0, rng.uniform(-0.5, 0.5, 3000)]), part(0.1, np.r_[0.5, np.zeros(3000)])]
    alone = [part(0.2, [1.0]), part(0.1, [0.5])]
    many, one = chance(rows_of(np.zeros(3001), 0.1), parts, 0.0), chance(rows_of([0.0], 0.1), alone, 0.0)
    assert many.holds == pytest.approx(one.holds, abs=many.bound)
    assert many.first == 0


def of_pins(*columns, radius=0.05):
    """Errors of two dowels alike; columns: the growth of one row for 1 mm of each."""
    pair = PinPair(("a", "b"), ((0.0, 0.0), (100.0, 0.0)), (radius, radius))
    return [
        Contribution("dowels", "words", radius, "mm", PINS, np.array([grow]) * radius, pair, nth)
        for nth, grow in enumerate(columns)
    ]


def test_pins__shift_and_turn_are_not_both_at_their_most():
    """A place beyond a dowel moves by across + turn: by t2 alone, so never by more than the play there.

    Were shift across and turn independent, each even to r = 0.05 there, they would pass 0.06 in
    (2 r - 0.06)^2 / 2 of (2 r)^2 of cases.
    """
    assert chance(rows_of([0.0], 0.06), of_pins(0.0, 0.0, 1.0), 0.0).holds == 1.0


def test_pins__share_of_a_limit_within_their_play():
    """t2 <= 0.03 of r = 0.05, s as likely as r^2 - s^2, t2 even within sqrt(r^2 - s^2): by quadrature."""
    r, limit = 0.05, 0.03
    density = lambda s: 0.75 / r**3 * (r * r - s * s)  # noqa: E731
    share = lambda s: min(1.0, 0.5 + 0.5 * limit / max((r * r - s * s) ** 0.5, 1e-12))  # noqa: E731
    expected, _ = quad(lambda s: density(s) * share(s), -r, r, points=[-0.04, 0.04])
    found = chance(rows_of([0.0], limit), of_pins(0.0, 0.0, 1.0), 0.0)
    assert found.holds == pytest.approx(expected, abs=found.bound + 1e-4)
    assert found.bound < 0.002


def test_pins__a_way_aslant_stays_within_the_disc_of_one_dowel():
    """At dowel a: s cos + t1 sin is within r, where both even within r would reach 1.41 r."""
    found = chance(rows_of([0.0], 0.0501), of_pins(0.7071, 0.7071, 0.0), 0.0)
    assert found.holds == 1.0
    assert found.shares == pytest.approx(np.array([3, 4, 0]) / 7, rel=1e-3)  # r^2 / 5 against 4 r^2 / 15


def test_off__widens_the_bound_by_what_it_changes():
    """An even error of 0.25 against 0.1 +- 0.01: 0.02 of probability either way."""
    found = chance(rows_of([0.0], 0.1), [part(0.25, [1.0])], 0.01)
    assert found.bound == pytest.approx(0.02, abs=0.002)


def test_same_answer_each_time():
    parts = [part(0.2, [1.0]), part(0.1, [0.5], NORMAL)]
    assert chance(rows_of([0.0], 0.1), parts, 0.0).holds == chance(rows_of([0.0], 0.1), parts, 0.0).holds


@pytest.mark.parametrize(
    ("holds", "bound", "word"),
    [(0.97, 0.01, "likely"), (0.955, 0.01, "at risk"), (0.5, 0.1, "at risk"), (0.001, 0.002, "not possible")],
)
def test_verdict(holds, bound, word):
    assert verdict(Chance(holds, bound, 0, 0, np.ones(1), np.ones(1), 0, 1.0)) == word


def test_nothing_can_break():
    found = chance(rows_of([0.0], 0.1), [part(0.05, [1.0])], 0.001)
    assert (found.holds, found.bound, found.first, found.nearest) == (1.0, 0.0, -1, 0)
