"""A recorded payload's own times, moved with its time of arrival."""

from __future__ import annotations

from collector.arrival import Arrival, Decoded, Decoder


class ShiftedDecoder:
    """Decodes as if the bytes had come when they were recorded, then shifts what they say by `shift_ms`."""

    def __init__(self, decoder: Decoder, shift_ms: int) -> None:
        self._decoder = decoder
        self._shift_ms = shift_ms

    def decode(self, arrival: Arrival) -> Decoded:
        """As the inner decoder; samples without a time of their own stay without one."""
        decoded = self._decoder.decode(arrival._replace(received=arrival.received - self._shift_ms))
        samples = [
            sample if sample.at is None else sample._replace(at=sample.at + self._shift_ms)
            for sample in decoded.samples
        ]
        return Decoded(samples, decoded.refused)
