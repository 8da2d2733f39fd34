"""A few rounds of `python -m tests.faults.kill`, which runs two hundred by hand."""

from collections.abc import Callable

from tests.faults.kill import all_rounds, summary


def test_killed_site_loses_and_doubles_nothing(
    record_property: Callable[[str, object], None],
) -> None:
    found = list(all_rounds(rounds=10, seed=7))

    told = summary(found, seed=7)
    record_property("killed", str(told))
    assert told["rounds"] == 10
    assert int(str(told["acknowledged"])) > 0
    assert told["lost"] == told["doubled"] == 0
    assert [killed.amiss for killed in found] == [()] * 10
