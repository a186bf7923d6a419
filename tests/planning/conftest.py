import pytest

from solarvent.inputs.loading import load_plan
from solarvent.planning.simulate import simulate


@pytest.fixture(scope="session")
def default_run():
    """The year of the worked example, simulated once."""
    return simulate(load_plan())
