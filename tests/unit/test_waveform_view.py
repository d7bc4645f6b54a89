"""What the waveform viewer jumps to is what is kept at full rate; spans by hand."""

from simkit.studies.scenario.waveform_view import kept_around

FINE, REST, SAMPLE = (10.0, 14.0), (14.0, 14.6), (20.0, 24.0)
"""A finer run, what its sample goes on for after it, and another sample [us]."""


def test_a_close_up_ends_where_its_run_does() -> None:
    """The view asked for goes 0.6 us beyond all that ran there."""
    assert kept_around([SAMPLE, FINE], 12.0, 9.5, 14.6) == (10.0, 14.0)


def test_it_goes_on_where_another_run_takes_over() -> None:
    assert kept_around([REST, FINE, SAMPLE], 12.0, 11.0, 14.5) == (11.0, 14.5)


def test_within_a_run_it_is_what_was_asked_for() -> None:
    assert kept_around([FINE, SAMPLE], 22.0, 21.0, 23.0) == (21.0, 23.0)


def test_where_nothing_is_kept_it_stays() -> None:
    assert kept_around([FINE], 30.0, 29.0, 31.0) == (29.0, 31.0)
