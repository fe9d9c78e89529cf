"""Where bytes come from. A source connects in run(), never in its constructor, and tries until stopped.

A new kind is one module here, one line in `source_for`, one table in the settings and one in the example.
"""

from __future__ import annotations

from zoneinfo import ZoneInfo

from collector import settings
from collector.arrival import Source
from collector.clock import Clock


def source_for(
    source: settings.Source, whole: settings.Settings, clock: Clock, *, lasting: bool = True
) -> Source:
    """The source a `[[source]]` table asks for. Its module is imported only when it is used.

    `lasting`: a broker keeps for it what comes while it is away.
    """
    match source:
        case settings.SerialSource():
            from collector.sources.serial_port import SerialPortSource

            return SerialPortSource(source.id, source.port, source.baud, clock)
        case settings.MqttSource():
            from collector.sources.mqtt import MqttClientSource

            return MqttClientSource(source.with_files_in(whole.folder), whole.site, clock, lasting=lasting)
        case settings.FolderSource():
            from collector.sources.folder import WatchedFolderSource

            return WatchedFolderSource(source.id, whole.folder / source.folder, clock)
        case settings.OneWireSource():
            from collector.sources.one_wire import OneWireFolderSource

            probes = [probe for probe in whole.probe if probe.source == source.id]
            devices = [name for probe in probes for name in probe.wire_names]
            return OneWireFolderSource(
                source.id, whole.folder / source.folder, devices, source.interval_s, clock
            )
        case settings.ModbusSource():
            from collector.sources.modbus import ModbusLineSource

            return ModbusLineSource(source, clock)
        case settings.ReplaySource():
            from collector.sources.replay import ReplayedSource

            return ReplayedSource(source, whole.folder / source.file, clock)
        case settings.SimulatedSource():
            from collector.sources.simulated import SimulatedNightSource

            return SimulatedNightSource(source.id, source.seed, ZoneInfo(whole.time_zone), clock)
