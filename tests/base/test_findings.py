"""Names in a sentence."""

import pytest

from solarvent.base.findings import Finding, by_remedy, first_remedy, listed, sort_findings


def finding(level, code="x"):
    return Finding(level, code, "fan", "Something.", "Do something.")


def test_the_worst_comes_first_and_equals_keep_their_order():
    given = [finding("note", "a"), finding("stop", "b"), finding("warn", "c"), finding("stop", "d")]
    assert [item.code for item in sort_findings(given)] == ["b", "d", "c", "a"]


def test_an_unknown_level_is_refused():
    with pytest.raises(ValueError, match="one of stop, warn, note"):
        finding("fatal")


def test_a_finding_says_what_to_do():
    with pytest.raises(ValueError, match="starts-late: a finding says what to do"):
        Finding("warn", "starts-late", "fan", "It is late.", "")


def test_findings_that_one_deed_mends_are_one_group_with_each_code_part_and_text_once():
    given = [
        Finding("warn", "late", "east", "It is late.", "More."),
        Finding("stop", "wrong", "", "It is wrong.", "Turn it."),
        Finding("warn", "late", "west", "It is late.", "More."),
        Finding("warn", "stands", "west", "It stands.", "More."),
    ]
    first, second = by_remedy(given)
    assert (first.level, first.codes, first.parts) == ("warn", ["late", "stands"], ["east", "west"])
    assert first.texts == {"It is late.": ["east", "west"], "It stands.": ["west"]}
    assert (second.codes, second.parts, second.texts) == (["wrong"], [], {"It is wrong.": []})


def test_findings_of_unlike_levels_or_deeds_stay_apart():
    warned = Finding("warn", "late", "east", "It is late.", "More.")
    noted = Finding("note", "late", "west", "It is late.", "More.")
    other = Finding("warn", "late", "west", "It is late.", "Less.")
    assert [remedy.members for remedy in by_remedy([warned, noted, other])] == [(warned,), (noted,), (other,)]


def test_the_first_remedy_is_that_of_the_first_of_the_worst_and_of_no_note():
    stop, other = Finding("stop", "a", "", "A.", "Mend a."), Finding("stop", "b", "", "B.", "Mend b.")
    warn, note = Finding("warn", "c", "", "C.", "Mend c."), Finding("note", "d", "", "D.", "Mend d.")
    assert first_remedy([note, warn, stop, other]).do == "Mend a."
    assert first_remedy([note, warn]).do == "Mend c."
    assert first_remedy([note]) is None
    assert first_remedy([]) is None


@pytest.mark.parametrize(
    ("names", "words"), [(["a"], "a"), (["a", "b"], "a and b"), (["a", "b", "a", "c"], "a, b and c")]
)
def test_names_are_listed_once_each(names, words):
    assert listed(names) == words
