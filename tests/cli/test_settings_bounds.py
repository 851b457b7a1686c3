"""Settings accept every value inside their bounds, and say what would work outside them."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from transcriber import DraftSettings, Meter, UsageError
from transcriber.instrument import choose_instrument
from transcriber.settings_words import parse_meter, parse_pin


@given(st.floats(20, 400))
def test_every_tempo_within_bounds_is_taken(tempo):
    assert DraftSettings(tempo_bpm=tempo).tempo_bpm == tempo


@given(st.one_of(st.floats(max_value=20, exclude_max=True), st.floats(min_value=400, exclude_min=True)))
def test_the_tempo_that_is_suggested_works(tempo):
    with pytest.raises(UsageError) as caught:
        DraftSettings(tempo_bpm=tempo)
    DraftSettings(tempo_bpm=float(re.search(r"works is (\S+)$", str(caught.value))[1]))


@given(st.integers(-5, 200), st.integers(-5, 200))
def test_the_meter_that_is_suggested_works(beats, unit):
    try:
        DraftSettings(meter=Meter(beats, unit))
    except UsageError as error:
        suggested = parse_meter(re.search(r"works is (\S+)$", str(error))[1])
        assert suggested.unit in (2, 4, 8, 16)
        assert abs(suggested.beats - beats) <= max(1 - beats, beats - 32, 0)
    else:
        assert 1 <= beats <= 32
        assert parse_meter(f"{beats}/{unit}") == Meter(beats, unit)


@given(st.text(max_size=8))
def test_any_text_is_a_meter_or_a_usage_error(text):
    try:
        meter = parse_meter(text)
    except UsageError as error:
        assert text in str(error) or "out of" in str(error)  # noqa: PT017
    else:
        assert re.fullmatch(r"\s*\d+\s*/\s*\d+\s*", text)
        assert meter.beats >= 1


@pytest.mark.parametrize("field", ["position", "capo"])
@pytest.mark.parametrize("value", [-1, 5.5, float("nan")])
def test_what_is_no_fret_is_refused(field, value):
    with pytest.raises(UsageError, match=field):
        DraftSettings(**{field: value})


@pytest.mark.parametrize("field", ["position", "capo"])
def test_a_fret_beyond_the_neck_is_refused_by_the_instrument(field):
    with pytest.raises(UsageError, match=f"{field} 99 is out of 0 to 2[34]"):
        choose_instrument(DraftSettings(**{field: 99}))


def test_options_are_plain_values_without_folders():
    settings = DraftSettings(meter=Meter(6, 8), instrument="/home/someone/my guitar.json", position=5)
    options = settings.options()
    assert options["meter"] == "6/8"
    assert options["instrument"] == "my guitar.json"
    assert options["position"] == 5
    assert options["tempo_bpm"] is None


def test_settings_are_frozen():
    with pytest.raises(AttributeError):
        DraftSettings().tempo_bpm = 100


@pytest.mark.parametrize("text", ["", "1.25", "1.25=2", "1.25=/5", "x=2/5", "1=2/5/6", "-1=2/5", "1e400=1/1"])
def test_what_is_no_pin_is_said_in_one_line(text):
    with pytest.raises(UsageError, match=r"SECONDS=STRING/FRET; write it like 1.25=2/5"):
        parse_pin(text)


def test_pins_are_read_kept_within_bounds_and_told_in_the_options():
    pin = parse_pin(" 1.250=2/5 ")
    assert (pin.time_s, pin.string, pin.fret) == (1.25, 2, 5)
    assert DraftSettings(pins=(pin,)).options()["pins"] == ("1.25=2/5",)
    with pytest.raises(UsageError, match=r"string 13 is out of 1 to 12"):
        parse_pin("1=13/5")
    with pytest.raises(UsageError, match=r"string 7 is out of 1 to 6"):
        choose_instrument(DraftSettings(pins=(parse_pin("1=7/5"),)))
