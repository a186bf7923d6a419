import json
from pathlib import Path

import pytest

import solarvent.physics
from solarvent.inputs.parts import Panel
from solarvent.physics import broken_sky, sky
from solarvent.planning.bands import LOW, TYPICAL
from solarvent.planning.branches import RETRY_DUTY
from solarvent.report.models_text import models, models_json, render_models


def test_every_model_says_all_there_is_to_say():
    for model in models():
        assert all(len(words) > 5 for words in (model.equation, model.source, model.valid, model.known_error)), (
            model.name
        )


def test_every_kernel_is_told_of_and_no_other():
    kernels = {path.stem for path in Path(solarvent.physics.__file__).parent.glob("*.py")} - {"__init__"}
    told = {module for model in models() for module in model.modules}
    assert told == kernels


@pytest.mark.parametrize(
    ("name", "figures"),
    [
        ("broken cloud", (broken_sky.SUNLIT_LEVEL, broken_sky.SHADOW_LEVEL)),
        ("cloud", (sky.CLOUD_FACTOR_HIDDEN, *(1 - sky.cloud_factor([8.0])))),
        ("a standing fan, and its start", (RETRY_DUTY,)),
    ],
)
def test_the_words_give_the_figures_of_the_code(name, figures):
    (model,) = (model for model in models() if model.name == name)
    words = f"{model.equation} {model.valid}"
    for figure in figures:
        assert f"{figure:.2f}" in words


def test_the_spread_of_panels_is_the_one_of_the_bands():
    (model,) = (model for model in models() if model.name == "low, typical, high")
    watts_alone, with_plate = (
        Panel(watts="20 W"),
        Panel(watts="20 W", v_oc="22 V", i_sc="1.2 A", v_mp="18 V", i_mp="1.11 A"),
    )
    assert f"{LOW.plate_factor(watts_alone):g} to {LOW.plate_factor(with_plate):g}" in model.equation
    assert TYPICAL.plate_factor(watts_alone) == 1.0


def test_the_text_fits_a_plain_terminal_and_leads_from_sun_to_house():
    text = render_models()
    assert max(map(len, text.splitlines())) <= 80
    assert text.index("Sun and sky") < text.index("Fans") < text.index("House")


def test_the_data_is_the_same_as_the_text():
    data = json.loads(models_json())
    text = " ".join(render_models().split())
    for model in data["models"]:
        assert model["name"] in text
    assert data["peak_band"] > data["night_band"] > 0
