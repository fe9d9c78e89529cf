"""Bytes to samples: the only place where wire units become SI.

A new kind is one module here, one line in `decoder_for`, one table in the settings and one in the example.
"""

from __future__ import annotations

from collector import settings
from collector.arrival import Decoder


def decoder_of(source: settings.Source) -> Decoder:
    """A source's decoder; a replay's shifts the times in the payloads as its settings say."""
    decoder = decoder_for(source.decode)
    if isinstance(source, settings.ReplaySource) and source.shift_ms:
        from collector.decode.shifted import ShiftedDecoder

        return ShiftedDecoder(decoder, source.shift_ms)
    return decoder


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
        case settings.NmeaXdr():
            from collector.decode.nmea_xdr import NmeaXdrDecoder

            return NmeaXdrDecoder(decode)
        case settings.W1Slave():
            from collector.decode.w1_slave import W1SlaveDecoder

            return W1SlaveDecoder(decode)
        case settings.ModbusRegisters():
            from collector.decode.modbus_registers import ModbusRegistersDecoder

            return ModbusRegistersDecoder(decode)
