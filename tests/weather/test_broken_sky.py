import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from solarvent.weather.broken_sky import open_sky_share, shadow_level, sunlit_share, two_spells
from solarvent.weather.sky import cloud_factor

plain = settings(deadline=None, max_examples=80)


def test_sunlit_shares_by_oktas():
    # Levels of 1.05 and 0.30, an assumption of this program, over F. Kasten, G. Czeplak 1980; worked by hand.
    shares = sunlit_share(cloud_factor([4, 5, 6, 7, 8]))
    assert shares.tolist() == pytest.approx([0.84, 0.73, 0.56, 0.30, 0.0], abs=0.007)


def test_the_two_readings_of_a_broken_sky():
    oktas = np.arange(1, 8)
    assert (sunlit_share(cloud_factor(oktas)) > open_sky_share(oktas)).all()
    # Fewer gaps with the same mean: brighter shadows, always darker than the gaps.
    levels = shadow_level(cloud_factor(oktas), open_sky_share(oktas))
    assert ((levels > 0.30) & (levels < 1.05)).all()
    assert open_sky_share([0, 2, 8]).tolist() == [1.0, 0.75, 0.0]
    assert np.isnan(open_sky_share([-1, 8.5])).all()


@pytest.mark.parametrize("oktas", range(10))
def test_the_mean_of_the_two_states_is_the_single_mean_at_every_okta(oktas):
    factor = float(cloud_factor(oktas))
    share = float(sunlit_share(factor))
    if not 0 < share < 1:
        # One state, which is the mean itself.
        assert oktas in (8, 9)
        return
    clear, up = 840.0, 0.9
    dni = 0.55 * factor * clear / up
    dhi = factor * clear - dni * up
    step = {"ghi": [factor * clear], "dni": [dni], "dhi": [dhi]}
    sunlit, shadow = two_spells(**step, ghi_sunlit=[1.05 * clear], share=[share], cos_zenith=[up])
    for name, (mean,) in step.items():
        both = share * getattr(sunlit, name) + (1 - share) * getattr(shadow, name)
        assert both[0] == pytest.approx(mean, rel=1e-12)
    assert shadow.ghi[0] == pytest.approx(0.30 * clear)


@plain
@given(
    st.floats(0.31, 1.04),
    st.floats(0, 1),
    st.floats(0.05, 1),
    st.floats(50, 1000),
)
def test_spells_keep_the_step_and_are_light_that_can_be(factor, beam_share, up, clear):
    ghi = factor * clear
    dni, dhi = beam_share * ghi / up, (1 - beam_share) * ghi
    share = float(sunlit_share(factor))
    sunlit, shadow = two_spells([ghi], [dni], [dhi], [1.05 * clear], [share], [up])
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
    level = float(shadow_level(factor, share))
    if np.isnan(level):
        assert share * 1.05 > factor
    else:
        assert share * 1.05 + (1 - share) * level == pytest.approx(factor)


def test_without_gaps_the_shadow_is_the_mean():
    assert shadow_level(0.4, 0.0) == 0.4


def test_shares_without_meaning_give_nothing():
    assert np.isnan(two_spells([500.0], [300.0], [200.0], [800.0], [1.0], [0.8])[0].dni).all()
    assert np.isnan(two_spells([500.0], [300.0], [200.0], [800.0], [0.5], [-0.1])[1].dni).all()
    assert np.isnan(sunlit_share(np.nan))
    assert np.isnan(shadow_level(0.5, [0.0 - 1, 1.0])).all()
