"""Fisher's exact test against its best known table and against a statistics library."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import fisher_exact

from service.core.measures.proportions import Share
from service.core.patterns.evidence import Two, chance_of


@pytest.mark.parametrize(("right", "chance"), [(4, 1 / 70), (3, 17 / 70), (2, 53 / 70), (1, 69 / 70)])
def test_the_lady_tasting_tea(right: int, chance: float) -> None:
    """R. A. Fisher 1935, The Design of Experiments, ch. II: of eight cups, four with milk first, she names four."""
    assert chance_of(Two(Share(right, 4), Share(4 - right, 4))) == pytest.approx(chance)


@settings(max_examples=60)
@given(of=st.integers(1, 300), rest=st.integers(1, 9000), data=st.data())
def test_it_is_what_scipy_has(of: int, rest: int, data: st.DataObject) -> None:
    """SciPy's `fisher_exact`, one-sided."""
    here, there = data.draw(st.integers(0, of)), data.draw(st.integers(0, min(rest, 200)))
    table = [[here, of - here], [there, rest - there]]
    expected = fisher_exact(table, alternative="greater").pvalue
    assert chance_of(Two(Share(here, of), Share(there, rest))) == pytest.approx(expected, rel=1e-6, abs=1e-12)
