"""Names in a sentence."""

import pytest

from solarvent.base.sentences import listed


@pytest.mark.parametrize(
    ("names", "words"), [(["a"], "a"), (["a", "b"], "a and b"), (["a", "b", "a", "c"], "a, b and c")]
)
def test_names_are_listed_once_each(names, words):
    assert listed(names) == words
