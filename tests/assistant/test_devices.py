"""Devices that were missing are looked for in a new list, but never while something is open."""

import pytest

from assistant.devices import Devices
from assistant.errors import AudioError
from tests.assistant.test_microphone import FakeSource, Shop, nothing_sold
from tests.speaking.fake_sound import FakeDevice


def test_the_list_is_made_again_only_while_nothing_is_open() -> None:
    """After a miss the devices are listed anew; with a loudspeaker playing they are not, for that would silence it."""
    listed: list[str] = []
    devices, device, shop = Devices(lambda: listed.append("again")), FakeDevice(), Shop()
    for _ in range(2):
        with pytest.raises(AudioError):
            devices.microphone(nothing_sold)
    assert ["again"] == listed
    output = devices.speaker(device)(lambda _out: None)
    assert ["again", "again"] == listed
    with pytest.raises(AudioError):
        devices.microphone(nothing_sold)
    with pytest.raises(AudioError):
        devices.microphone(nothing_sold)
    assert ["again", "again"] == listed
    output.close()
    source = devices.microphone(shop)
    assert ["again"] * 3 == listed
    source.close()
    assert shop.sold[0].ended


def test_a_counted_device_is_the_device() -> None:
    """Blocks, the end, latency and life are the device's own."""
    devices, device, shop = Devices(lambda: None), FakeDevice(), Shop()
    source = devices.microphone(shop)
    shop.sold[0].hears(1)
    assert isinstance(shop.sold[0], FakeSource)
    assert (source.read(0.0) is not None, source.read(0.0), source.ended) == (True, None, False)
    output = devices.speaker(device)(lambda _out: None)
    assert (0, True) == (output.latency_ms, output.alive)
    output.close()
