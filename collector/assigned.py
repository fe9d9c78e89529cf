"""Which topic may speak for which probe: a device that gives another one's name is refused, not believed."""

from __future__ import annotations

from collector.arrival import Refusal
from collector.settings import Settings

WRONG_TOPIC = "wrong topic"


class Assigned:
    """What the probes' `topic` keys say. A probe without one is believed on every topic of its source."""

    def __init__(self, settings: Settings) -> None:
        self._topics = {probe.id: probe.topic for probe in settings.probe if probe.topic is not None}

    def refusal(self, probe: str, topic: str) -> Refusal | None:
        """Why what came on `topic` may not speak for the probe; None: it may."""
        assigned = self._topics.get(probe)
        if assigned is None or _fits(assigned, topic):
            return None
        return Refusal(WRONG_TOPIC, f"{topic[:80]!r} spoke for {probe}, which speaks on {assigned!r} alone")


def _fits(pattern: str, topic: str) -> bool:
    """Whether the topic is one of the filter's, as the client library has it: MQTT 5, 4.7."""
    from paho.mqtt.client import topic_matches_sub  # loaded only where a broker is

    return topic_matches_sub(pattern, topic)
