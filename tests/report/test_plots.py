"""Pictures as figures of matplotlib, for notebooks."""

from datetime import date
from io import BytesIO

import matplotlib
import pytest

import solarvent


@pytest.fixture(scope="module")
def run():
    return solarvent.simulate(solarvent.load_plan(), date(2001, 7, 15))


def test_each_plot_is_a_figure_that_can_be_saved_and_changes_no_setting(run):
    before = dict(matplotlib.rcParams)
    figures = [solarvent.plot_day(run), solarvent.plot_start(run), solarvent.plot_wiring(run.plan)]
    for figure in figures:
        file = BytesIO()
        figure.savefig(file, format="png")
        assert file.getvalue().startswith(b"\x89PNG")
    assert dict(matplotlib.rcParams) == before


def test_a_day_is_chosen_by_its_date_whatever_its_year(run):
    whole = solarvent.run("default").simulated
    assert solarvent.plot_day(whole, date(1999, 7, 15)).axes[0].lines is not None
    with pytest.raises(solarvent.PlanError, match="no light on 2001-07-16"):
        solarvent.plot_day(run, date(2001, 7, 16))


def test_the_wiring_of_the_faulty_plan_names_every_fan():
    words = [text.get_text() for text in solarvent.plot_wiring(solarvent.load_plan("faulty")).axes[0].texts]
    assert {"gable-left", "gable-right", "bench"} <= set(words)
    assert not any("\ue000" <= letter <= "\ue004" for text in words for letter in text)


def test_units_are_those_that_are_asked_for(run):
    labels = [axis.get_ylabel() + axis.get_title(loc="left") for axis in solarvent.plot_day(run, system="us").axes]
    assert any("F" in label for label in labels)
