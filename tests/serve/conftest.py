"""The page without a server."""

import pytest
from visitor import Visitor


@pytest.fixture
def visitor(tmp_path):
    """Somebody who has the key, in a folder that is empty yet."""
    here = Visitor(tmp_path)
    yield here
    here.close()
