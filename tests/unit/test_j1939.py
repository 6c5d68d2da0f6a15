"""J1939 facts: numbers in range, states that are not values, and the order of severity."""

import pytest

from alarms.j1939 import (
    FAILURE_MODES,
    PARAMETERS,
    J1939Error,
    Severity,
    State,
    check_occurrences,
    decode_spn,
    failure_mode,
)


def test_every_failure_mode_has_words_of_its_own():
    assert sorted(FAILURE_MODES) == list(range(32))
    meanings = [mode.meaning for mode in FAILURE_MODES.values() if not mode.reserved]
    assert len(set(meanings)) == len(meanings) == 23


def test_graded_modes_sort_worst_first():
    # J1939-73 appendix A (copy at autoprogs.ru, read): 0/1 most, 16/18 moderately, 15/17 least severe.
    ranks = [{failure_mode(fmi).severity.rank for fmi in pair} for pair in ((0, 1), (16, 18), (15, 17))]
    assert ranks == [{0}, {1}, {2}]
    assert failure_mode(31).severity is Severity.UNRANKED


@pytest.mark.parametrize("fmi", [3, 4, 5, 6])
def test_an_electrical_fault_makes_the_reading_untrustworthy(fmi):
    assert not failure_mode(fmi).trustworthy


@pytest.mark.parametrize("fmi", [0, 1, 15, 16, 17, 18])
def test_a_reading_that_is_out_of_range_is_still_a_reading(fmi):
    assert failure_mode(fmi).trustworthy


def test_voltage_low_means_shorted_to_ground():
    # The copy read misprints FMI 4 as shorted to the high source; the standard pairs low with ground.
    assert "ground" in failure_mode(4).meaning
    assert "supply" in failure_mode(3).meaning


@pytest.mark.parametrize("fmi", range(22, 31))
def test_reserved_modes_are_said_to_be_reserved(fmi):
    assert failure_mode(fmi).reserved


@pytest.mark.parametrize(
    ("spn", "raw", "value"),
    [
        (110, 130, 90.0),  # documented example (sources: voltage-j1939, read)
        (110, 0, -40.0),
        (168, 250, 12.5),
        (247, 20_000, 1000.0),
        (171, 8736, 0.0),
        (190, 4800, 600.0),
        (100, 100, 400.0),
        (183, 22, 1.1),
        (96, 250, 100.0),  # scale from memory
        (98, 250, 100.0),
        (111, 125, 50.0),
        (158, 502, 25.1),
    ],
)
def test_a_raw_field_gives_its_value(spn, raw, value):
    decoded = decode_spn(spn, raw)
    assert decoded.state is State.VALUE
    assert decoded.value == pytest.approx(value)
    assert decoded.unit == PARAMETERS[spn].unit


@pytest.mark.parametrize("spn", PARAMETERS)
@pytest.mark.parametrize(
    ("top", "state"),
    [
        (0xFF, State.NOT_AVAILABLE),
        (0xFE, State.ERROR),
        (0xFD, State.RESERVED),
        (0xFC, State.RESERVED),
        (0xFB, State.RESERVED),
    ],
)
def test_a_field_without_a_value_never_becomes_a_number(spn, top, state):
    shift = PARAMETERS[spn].bits - 8
    for rest in (0, 2**shift - 1):
        decoded = decode_spn(spn, (top << shift) + rest)
        assert (decoded.state, decoded.value) == (state, None)


@pytest.mark.parametrize("spn", PARAMETERS)
def test_the_largest_value_ends_below_the_reserved_range(spn):
    shift = PARAMETERS[spn].bits - 8
    assert decode_spn(spn, (0xFA << shift) + 2**shift - 1).state is State.VALUE


@pytest.mark.parametrize(
    ("spn", "raw", "field"),
    [
        (110, 256, "raw"),
        (110, -1, "raw"),
        (168, 2**16, "raw"),
        (110, 1.0, "raw"),
        (110, True, "raw"),
        (524_288, 0, "spn"),
        (-1, 0, "spn"),
        (7, 0, "spn"),
        ("110", 0, "spn"),
    ],
)
def test_a_number_out_of_range_is_refused(spn, raw, field):
    with pytest.raises(J1939Error) as caught:
        decode_spn(spn, raw)
    assert caught.value.field == field


@pytest.mark.parametrize("fmi", [-1, 32, 4.0, None])
def test_a_failure_mode_outside_five_bits_is_refused(fmi):
    with pytest.raises(J1939Error):
        failure_mode(fmi)


def test_an_unavailable_count_is_none():
    assert (check_occurrences(1), check_occurrences(126), check_occurrences(127)) == (1, 126, None)
    with pytest.raises(J1939Error):
        check_occurrences(128)
