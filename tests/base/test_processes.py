"""Work in processes of its own: the same results in the same order, and errors as they are."""

import os
import signal

import pytest

from solarvent.base.errors import OutputError, PlanError, Problem, SolarventError
from solarvent.base.processes import cores, spread


def where_and_square(number):
    return os.getpid(), number**2


def refuses(number):
    if number == 3:
        raise PlanError([Problem("fan[2]", "is too many", "write 2"), Problem("", "no place")])
    return number


def ends_itself(number):
    os.kill(os.getpid(), signal.SIGTERM)


def spreads_again(number):
    return [pid for pid, _ in spread(where_and_square, range(3), 2)] == [os.getpid()] * 3


def test_results_come_in_order_from_other_processes():
    done = list(spread(where_and_square, range(20), 2))
    assert [square for _, square in done] == [number**2 for number in range(20)]
    assert os.getpid() not in {pid for pid, _ in done}


@pytest.mark.parametrize(("count", "workers"), [(20, 1), (1, 4)])
def test_one_worker_or_one_item_stays_here(count, workers):
    assert {pid for pid, _ in spread(where_and_square, range(count), workers)} == {os.getpid()}


def test_a_worker_starts_no_others():
    assert all(spread(spreads_again, range(2), 2))


def test_an_error_comes_through_as_it_is():
    with pytest.raises(PlanError, match="is too many") as caught:
        list(spread(refuses, range(5), 2))
    assert caught.value.problems == (Problem("fan[2]", "is too many", "write 2"), Problem("", "no place"))
    assert str(caught.value) == "fan[2]: is too many; write 2\nno place"


def test_a_process_that_ends_is_told():
    with pytest.raises(SolarventError, match="ended from outside"):
        list(spread(ends_itself, range(5), 2))


def test_an_error_of_files_is_the_same_from_another_process():
    import pickle

    again = pickle.loads(pickle.dumps(OutputError.single("page.html", "is a folder")))
    assert (type(again), str(again)) == (OutputError, "page.html: is a folder")


def test_there_is_a_core():
    assert 1 <= cores() <= os.cpu_count()
