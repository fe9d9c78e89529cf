"""What set-up found, in words."""

from __future__ import annotations

import pytest

from collector.first_run.facts import Device, Value, Way
from collector.reading import Quantity
from dashboard.first_run_view import choices, chosen, id_for, place_for, values_text, way_state

T, RH = Quantity.TEMPERATURE, Quantity.RELATIVE_HUMIDITY


def device(*values: Value, name: str = "shed/j1") -> Device:
    return Device("broker", (name,), name, "json_map", values, 10.0, 0)


@pytest.mark.parametrize(("state", "heard", "unread", "text"), [
    ("failed: 127.0.0.1:1883 refuses us: Not authorized; check user and password_file", 0, "",
     "127.0.0.1:1883 refuses us: Not authorized; check user and password"),
    ("waiting", 0, "", "connecting…"),
    ("connected", 3, "", "3 heard"),
    ("connected", 0, "boot (format: no name)", "Came, but cannot be read: boot (format: no name)"),
    ("connected", 0, "", "Connected, nothing came yet. A probe that sleeps may take minutes."),
    ("connected; what arrives is no text: is baud = 9600 the device's own?", 0, "",
     "what arrives is no text: is baud = 9600 the device's own?"),
])  # fmt: skip
def test_a_way_says_what_comes_or_why_nothing_does(state: str, heard: int, unread: str, text: str) -> None:
    assert way_state(Way("w", "mqtt", "", state, heard, unread)) == text


def test_a_number_is_shown_in_the_unit_that_was_chosen_beside_what_is_sent() -> None:
    """54 degF is 12.2 degC: (54 - 32) / 1.8."""
    said = Value("/temp", 54.0, T, "degF", (54 - 32) / 1.8, T)
    text = values_text(device(said, Value("/rssi", -70, None, "", None, T, left_out=True)))
    assert text.replace("\N{NO-BREAK SPACE}", " ") == "temperature 12.2 °C (it sends 54 °F)"


def test_what_a_number_may_be_ends_with_nothing_and_the_unlikely_stands_apart() -> None:
    value = Value("/temp", 54.0, None, "", None, T)
    assert choices(value)[-1].id == ""
    near, others, ticked = chosen(value, "")
    assert [one.id for one in near] == ["temperature degF", "temperature degC", ""], (
        "a wrong unit is seen at once"
    )
    assert ticked == "temperature degF"
    assert "temperature K" in [one.id for one in others]
    assert chosen(value, "temperature degC")[2] == "temperature degC", (
        "as the same key elsewhere was said to be"
    )


def test_names_and_places_are_proposed() -> None:
    humid = Value("/rh", 80.0, None, "", None, RH)
    assert (id_for(device(humid), ["j1"]), place_for(device(humid))) == ("j1-2", "air")
    assert place_for(device(Value("/t", 12.0, None, "", None, T))) == "surface"
    assert id_for(device(humid, name="urn:dev:mac:01"), []) == "01"
