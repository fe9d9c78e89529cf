"""The range's members and quantiles over them."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import ndtri

from model.members import central, members, quantile


def test_every_margin_is_stratified_normal() -> None:
    """Each column holds exactly the normal deviates of (rank + 1/2) / N: SciPy's ndtri is the reference."""
    of = members(256, rate_sd=1.0, E=0.0, E_sd=1.0, Tg_inf=0.0, Tg_inf_sd=1.0, probe_sd_K=1.0)
    expected = ndtri((np.arange(256) + 0.5) / 256)
    for column in (of.ln_rate, of.E_J_mol, of.Tg_inf_C, of.probe_offset_K, of.forecast_z):
        np.testing.assert_allclose(np.sort(column), expected, atol=1e-12)


def test_columns_hardly_correlate() -> None:
    of = members()
    table = np.corrcoef([of.ln_rate, of.E_J_mol, of.Tg_inf_C, of.probe_offset_K, of.forecast_z])
    assert np.max(np.abs(table - np.eye(5))) < 0.15


def test_quantiles_of_a_mixed_sum_are_those_of_the_normal() -> None:
    """A weighted sum of unit normals is normal: ndtri of 5 to 95 % within 0.11 sd, the median exactly.

    0.11 is the worst of many sums, all five weighing the same; plain recurrence errs by 0.27 there.
    """
    of = members(256, rate_sd=1.0, E=0.0, E_sd=1.0, Tg_inf=0.0, Tg_inf_sd=1.0, probe_sd_K=1.0)
    columns = np.array([of.ln_rate, of.E_J_mol, of.Tg_inf_C, of.probe_offset_K, of.forecast_z])
    for weights in ([1, 1, 1, 1, 1], [0.25, 0.14, 0.05, 0.03, 0.12], [0.4, 0.14, 0.05, 0.03, 0.12]):
        got = quantile(weights @ columns, (0.05, 0.1, 0.5, 0.9, 0.95)) / np.linalg.norm(weights)
        np.testing.assert_allclose(got, ndtri([0.05, 0.1, 0.5, 0.9, 0.95]), atol=0.11)
        assert abs(got[2]) < 1e-9


def test_members_are_the_same_every_time() -> None:
    np.testing.assert_array_equal(members().E_J_mol, members().E_J_mol)


def test_central_member_departs_from_nothing() -> None:
    middle = central(50e3, 80.0)
    assert len(middle) == 1
    assert (middle.ln_rate[0], middle.E_J_mol[0], middle.Tg_inf_C[0]) == (0.0, 50e3, 80.0)
    assert middle.probe_offset_K[0] == middle.forecast_z[0] == 0.0


def test_quantile_interpolates_between_the_middles_of_members() -> None:
    assert quantile(np.array([3.0, 1.0]), 0.5) == 2.0
    assert quantile(np.array([3.0, 1.0]), 0.1) == 1.0
    np.testing.assert_allclose(quantile(np.array([[0.0, 10.0], [5.0, 5.0]]), (0.25, 0.5)), [[0, 5], [5, 5]])


def test_weights_shift_quantiles_like_repeated_members() -> None:
    """A member of weight 3 beside one of weight 1: middles at 0.375 and 0.875 of the total."""
    assert quantile(np.array([0.0, 8.0]), 0.625, np.array([3.0, 1.0])) == pytest.approx(4.0)


def test_impossible_requests_are_refused() -> None:
    with pytest.raises(ValueError, match="at least 1"):
        members(0)
    with pytest.raises(ValueError, match="between 0 and 1"):
        quantile(np.array([1.0]), 1.5)
