import pytest

from solarvent.planning.findings import Finding, sort_findings


def finding(level, code="x"):
    return Finding(level, code, "fan", "Something.", "Do something.")


def test_the_worst_comes_first_and_equals_keep_their_order():
    given = [finding("note", "a"), finding("stop", "b"), finding("warn", "c"), finding("stop", "d")]
    assert [item.code for item in sort_findings(given)] == ["b", "d", "c", "a"]


def test_an_unknown_level_is_refused():
    with pytest.raises(ValueError, match="one of stop, warn, note"):
        finding("fatal")
