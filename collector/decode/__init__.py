"""Bytes to samples: the only place where wire units become SI.

A new kind is one module here, one line in `decoder_for`, one table in the settings and one in the example.
"""

from __future__ import annotations

from collector import settings
from collector.arrival import Decoder


def decoder_for(decode: settings.Decode) -> Decoder:
    """The decoder a source's `decode` table asks for. Its module is imported only when it is used."""
    match decode:
        case settings.TextLine():
            from collector.decode.text_line import TextLineDecoder

            return TextLineDecoder(decode)
        case settings.LoggerCsv():
            from collector.decode.logger_csv import LoggerCsvDecoder

            return LoggerCsvDecoder(decode)
        case settings.SenML():
            from collector.decode.senml import SenMLDecoder

            return SenMLDecoder(decode)
        case settings.JsonMap():
            from collector.decode.json_map import JsonMapDecoder

            return JsonMapDecoder(decode)
