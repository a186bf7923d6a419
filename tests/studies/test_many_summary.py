"""What the rows of many places come to."""

import pytest
from place_tables import rows, summary

from solarvent.studies.many_summary import NEEDED


def test_a_plan_alone_is_counted_in_one_sentence():
    found = summary(rows(**{"": (30, "fffsx-")}))
    assert found.sentence == (
        "It fits at 3 of 5 places (60%), 1 fall short of air, 1 say stop; 1 more could not be worked out."
    )
    assert (found.places, found.rows, found.failures) == (6, 6, 1)
    assert found.failed == [(7, "p5", "because")]


def test_the_smallest_design_that_fits_at_nine_places_in_ten_is_chosen():
    found = summary(rows(large=(50, "f" * 10), good=(30, "f" * 9 + "s"), small=(10, "f" * 8 + "ss")))
    assert (found.choice.id, found.for_all) == ("good", True)
    assert found.sentence == (
        'The smallest design that fits nearly everywhere is "good" (30 W of panel): it fits at 9 of 10 places (90%).'
    )


def test_without_one_the_nearest_is_named():
    found = summary(rows(a=(50, "ffss"), b=(30, "fsss")))
    assert found.sentence.startswith('No design fits at nine places in ten; "a" (50 W of panel) comes nearest')
    none = summary(rows(a=(50, "xxss"), b=(30, "ssss")))
    assert none.sentence == 'No design fits at any of the 4 places; "b" (30 W of panel) comes nearest.'
    assert summary(rows(a=(50, "--"), b=(30, "--"))).sentence == "None of the 2 places could be worked out."


def test_places_that_could_not_be_worked_out_do_not_count_against_a_design():
    assert summary(rows(a=(50, "ffffffff--"), b=(60, "ffffffff--"))).for_all


def test_what_fails_is_told_with_where_and_why_stops_first():
    found = summary(rows(a=(50, "fsssxf"), b=(60, "ssssss")))
    stop, short = found.causes
    assert (stop.level, stop.cause, stop.count, stop.ids) == ("stop", "over-voltage", 1, ["p4"])
    assert (short.cause, short.count, short.ids) == ("light", 3, ["p1", "p2", "p3"])
    assert (short.south, short.north, short.west, short.east) == (41.0, 43.0, -3.0, -1.0)


@pytest.mark.parametrize("pieces", [2, 3])
def test_chunks_make_no_difference(pieces):
    table = rows(a=(50, "fsssx-"), b=(60, "f-ssss"))
    whole, cut = summary(table), summary(table, pieces)
    assert whole.sentence == cut.sentence
    assert whole.causes == cut.causes
    assert whole.designs == cut.designs
    assert (whole.weather, whole.failures) == (cut.weather, cut.failures)


def test_it_asks_for_the_columns_that_it_says():
    assert set(NEEDED) <= set(rows(a=(1, "f")).columns)
