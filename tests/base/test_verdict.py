import pytest

from solarvent.base.findings import Finding, Verdict, first_remedy


def verdict(level="fits", *findings):
    return Verdict(level, "It works.", first_remedy(findings), ())


def test_an_unknown_level_is_refused():
    with pytest.raises(ValueError, match="one of stop, short, fits, not 'works'"):
        verdict("works")


def test_what_to_do_first_names_the_parts_that_it_mends():
    late = [Finding("warn", "starts-late", name, "It is late.", "A larger panel.") for name in ("east", "west")]
    assert verdict("short", *late).first_sentence == "Do this first (east, west): A larger panel."
    assert verdict("short", Finding("warn", "a", "", "A.", "Mend a.")).first_sentence == "Do this first: Mend a."
    assert verdict().first_sentence == "Nothing that was checked speaks against building it."
