import json
import re
from pathlib import Path

import pytest

import solarvent
from solarvent.electrical.branches import RETRY_DUTY
from solarvent.electrical.panel_model import LOW, TYPICAL
from solarvent.plan import house_records
from solarvent.plan.parts import Panel
from solarvent.report.about_text import models, models_json, render_models
from solarvent.weather import sky


def test_every_model_says_all_there_is_to_say():
    for model in models():
        assert all(len(words) > 5 for words in (model.equation, model.source, model.valid, model.known_error)), (
            model.name
        )


def test_every_kernel_is_told_of_and_no_other():
    # A kernel is a module on light, volts, air or heat that knows arrays only, and no plan.
    package = Path(solarvent.__file__).parent
    told = {module for model in models() for module in model.modules}
    assert {module for module in told if not (package / f"{module}.py").is_file()} == set()
    kernels = {
        path.relative_to(package).with_suffix("").as_posix()
        for folder in ("weather", "electrical", "air", "house")
        for path in (package / folder).glob("*.py")
        if path.stem != "__init__" and not re.search(r"from solarvent\.(?!base)", path.read_text(encoding="utf-8"))
    }
    assert kernels - told - NO_MODELS == set()


#: What reads and checks files holds no model of anything.
NO_MODELS = {"weather/csv_file", "weather/table_checks"}


@pytest.mark.parametrize(
    ("name", "figures"),
    [
        ("broken cloud", (house_records.SUNLIT_LEVEL, house_records.SHADOW_LEVEL)),
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
