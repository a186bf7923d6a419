import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from solarvent.plan.house_records import SHADOW_LEVEL, SUNLIT_LEVEL
from solarvent.weather.broken_sky import (
    beam_in_thirds,
    open_sky_share,
    shadow_level,
    sunlit_share,
    two_spells,
)
from solarvent.weather.sky import cloud_factor

plain = settings(deadline=None, max_examples=80)


@plain
@given(st.floats(0, 1))
def test_the_thirds_keep_the_beam_and_are_in_order(share):
    bright, middle, dull = beam_in_thirds(share)
    assert (bright + middle + dull) / 3 == pytest.approx(share, abs=1e-12)
    assert 1 >= bright >= middle - 1e-12
    assert middle >= dull >= 0


def test_the_thirds_are_those_of_three_drawn_moments():
    # Counted out, not by the formula: the beam at three moments of a sun that shines 30 % of the time, sorted.
    drawn = np.sort(np.random.default_rng(1).random((200_000, 3)) < 0.3, axis=1)[:, ::-1]
    np.testing.assert_allclose(beam_in_thirds(0.3), drawn.mean(axis=0), atol=0.003)
    assert beam_in_thirds([0.0, 1.0]).T.tolist() == [[0.0] * 3, [1.0] * 3]
    assert np.isnan(beam_in_thirds([-0.1, 1.1])).all()


def test_sunlit_shares_by_oktas():
    # Levels of 1.10 and 0.45 over F. Kasten, G. Czeplak 1980; worked by hand.
    shares = sunlit_share(cloud_factor([4, 5, 6, 7, 8]), 1.10, 0.45)
    assert shares.tolist() == pytest.approx([0.737, 0.613, 0.412, 0.113, 0.0], abs=1e-3)


def test_the_other_reading_of_a_broken_sky():
    oktas = np.arange(2, 8)
    # The same mean with gaps by the open sky: shadows are darker than the gaps.
    levels = shadow_level(cloud_factor(oktas), open_sky_share(oktas), SUNLIT_LEVEL)
    assert ((levels > 0.4) & (levels < SUNLIT_LEVEL)).all()
    assert open_sky_share([0, 2, 8]).tolist() == [1.0, 0.75, 0.0]
    assert np.isnan(open_sky_share([-1, 8.5])).all()


@pytest.mark.parametrize("oktas", range(10))
def test_the_mean_of_the_two_states_is_the_single_mean_at_every_okta(oktas):
    factor = float(cloud_factor(oktas))
    share = float(sunlit_share(factor, SUNLIT_LEVEL, SHADOW_LEVEL))
    if not 0 < share < 1:
        # One state, which is the mean itself.
        assert oktas in (8, 9)
        return
    clear, up = 840.0, 0.9
    dni = 0.55 * factor * clear / up
    dhi = factor * clear - dni * up
    step = {"ghi": [factor * clear], "dni": [dni], "dhi": [dhi]}
    sunlit, shadow = two_spells(**step, ghi_sunlit=[SUNLIT_LEVEL * clear], share=[share], cos_zenith=[up])
    for name, (mean,) in step.items():
        both = share * getattr(sunlit, name) + (1 - share) * getattr(shadow, name)
        assert both[0] == pytest.approx(mean, rel=1e-12)
    assert shadow.ghi[0] == pytest.approx(SHADOW_LEVEL * clear)


@plain
@given(
    st.floats(0.46, 1.09),
    st.floats(0, 1),
    st.floats(0.05, 1),
    st.floats(50, 1000),
)
def test_spells_keep_the_step_and_are_light_that_can_be(factor, beam_share, up, clear):
    ghi = factor * clear
    dni, dhi = beam_share * ghi / up, (1 - beam_share) * ghi
    share = float(sunlit_share(factor, SUNLIT_LEVEL, SHADOW_LEVEL))
    sunlit, shadow = two_spells([ghi], [dni], [dhi], [SUNLIT_LEVEL * clear], [share], [up])
    for spell in (sunlit, shadow):
        assert spell.ghi[0] == pytest.approx(spell.dni[0] * up + spell.dhi[0], rel=1e-9, abs=1e-7)
        assert min(part[0] for part in spell) >= -1e-7
    for name, mean in (("ghi", ghi), ("dni", dni), ("dhi", dhi)):
        both = share * getattr(sunlit, name)[0] + (1 - share) * getattr(shadow, name)[0]
        assert both == pytest.approx(mean, rel=1e-9, abs=1e-7)
    # The beam belongs to the gaps, as far as there is room for it.
    assert shadow.dni[0] == pytest.approx(0, abs=1e-7) or sunlit.dhi[0] == pytest.approx(0, abs=1e-7)


def test_gaps_that_take_all_the_light_leave_a_black_shadow():
    # 800 W/m2 for half the time are the whole mean of 400; the beam of 300 shines twice as strong for half the time.
    sunlit, shadow = two_spells([400.0], [300.0], [160.0], [800.0], [0.5], [0.8])
    assert [part[0] for part in sunlit] == pytest.approx([800.0, 600.0, 320.0])
    assert [part[0] for part in shadow] == pytest.approx([0.0, 0.0, 0.0], abs=1e-9)


@plain
@given(st.floats(0.31, 1.04), st.floats(0.02, 0.98))
def test_a_given_share_leaves_the_shadows_what_the_mean_wants(factor, share):
    level = float(shadow_level(factor, share, SUNLIT_LEVEL))
    if np.isnan(level):
        assert share * SUNLIT_LEVEL > factor
    else:
        assert share * SUNLIT_LEVEL + (1 - share) * level == pytest.approx(factor)


def test_without_gaps_the_shadow_is_the_mean():
    assert shadow_level(0.4, 0.0, 1.1) == 0.4


def test_shares_without_meaning_give_nothing():
    assert np.isnan(two_spells([500.0], [300.0], [200.0], [800.0], [1.0], [0.8])[0].dni).all()
    assert np.isnan(two_spells([500.0], [300.0], [200.0], [800.0], [0.5], [-0.1])[1].dni).all()
    assert np.isnan(sunlit_share(np.nan, 1.1, 0.45))
    assert np.isnan(shadow_level(0.5, [0.0 - 1, 1.0], 1.1)).all()
