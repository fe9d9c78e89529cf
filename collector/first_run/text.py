"""coldshed.toml from a draft, with comments by which a person goes on editing it."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence

from collector.first_run.draft import (
    AnyWay,
    BrokerWay,
    Draft,
    FolderWay,
    Meaning,
    OneWireWay,
    SerialWay,
    Spot,
)
from collector.source_tables import TimeField

PLACES = {
    "surface": "taped to the panel, under a scrap of foam",
    "air": "in the air beside the panels",
    "bottles": "at the bottles of resin and hardener",
}
HEAD = """\
# coldshed.toml: which probes there are, and by which way their readings come.
# Written by 'coldshed set-up'. Go on editing it by hand: it is never written again. After each change:
#   coldshed check settings      says what is wrong, with line and what is allowed
#   end coldshed and start it again, so that the change counts
"""
TAIL = """
# The pages. Of this computer alone unless you say otherwise.
[serve]
port = {port}
# Phones of the shop reach them with the next line, once somebody has an account: 'coldshed account add NAME --role
# manage'. Whoever is on that network can listen in; the page Help says how to close that with TLS.
# host = "0.0.0.0"
# What a phone calls this computer by, for the QR codes on labels:
# public_url = "http://shed.lan:{port}"

# When the last person leaves, the shop's time: the evening round asks what to do before that.
[shop]
leave_at = "22:00"

# Everything else that can be set, with an example of each (a forecast, who is told of alarms in bed, a broker that
# is told verdicts, how long readings are kept), stands in the example that comes with coldshed:
#   {example}
"""


def settings_text(draft: Draft, port: int, example: str) -> str:
    """The file. `example`: where the documented example lies. The draft has a site and a time zone."""
    lines = [
        HEAD,
        f"site = {quoted(draft.site or '')}",
        f"time_zone = {quoted(draft.time_zone or '')}",
        'data = "data"    # readings, answers and the logbook are kept in this folder, beside this file',
    ]
    ids: set[str] = set()
    probes: list[str] = []
    for way in draft.ways:
        for spots in _groups(draft, way):
            id = _free(way.id, ids)
            lines += ["", *_source(draft, way, id, spots)]
            for spot in {
                spot.id: spot for spot in spots
            }.values():  # two columns of a logger may be one probe
                probes += ["", *_probe(spot, id)]
    if probes:
        lines += [
            "",
            "# Probes, a table each. One more at a source that is there: copy a table, change id and name.",
        ]
    return "\n".join([*lines, *probes]) + "\n" + TAIL.format(port=port, example=example)


def _groups(draft: Draft, way: AnyWay) -> list[list[Spot]]:
    """The way's probes that are read alike: a source each, since a source has one way to decode."""
    groups: dict[str, list[Spot]] = {}
    for spot in draft.spots:
        if spot.source == way.id:
            fields = (
                [(m.key, m.quantity, m.unit) for m in _meanings(draft, spot)]
                if spot.decode == "json_map"
                else []
            )
            time = spot.time.model_dump_json() if spot.time else ""
            groups.setdefault(json.dumps([spot.decode, fields, time]), []).append(spot)
    return list(groups.values())


def _meanings(draft: Draft, spot: Spot) -> list[Meaning]:
    return [m for m in draft.meanings if m.way == spot.source and m.scope == spot.scope]


def _free(id: str, ids: set[str]) -> str:
    name = next(n for n in (id, *(f"{id}-{k}" for k in range(2, 100))) if n not in ids)
    ids.add(name)
    return name


def _source(draft: Draft, way: AnyWay, id: str, spots: Sequence[Spot]) -> Iterator[str]:
    yield from _way(way, id, spots)
    yield ""
    yield "[source.decode]"
    decode = spots[0].decode
    yield f"kind = {quoted(decode)}"
    if decode == "logger_csv" and isinstance(way, FolderWay):
        yield from _logger(draft, way, spots)
    elif decode in ("text_line", "json_map"):
        yield "field = ["
        for meaning in _meanings(draft, spots[0]):
            yield f"  {{ key = {quoted(meaning.key)}, {_measured(meaning)} }},"
        yield "]"
        if time := spots[0].time:
            yield f"time = {_time(time)}    # the message's own, which lay at this computer's clock"


def _way(way: AnyWay, id: str, spots: Sequence[Spot]) -> Iterator[str]:
    head = ["[[source]]", f"id = {quoted(id)}"]
    match way:
        case SerialWay():
            yield "# A serial port. 'coldshed listen --ports' shows the ports there are, 'coldshed listen' what comes."
            yield from [*head, 'kind = "serial"', f"port = {quoted(way.port)}", f"baud = {way.baud}"]
        case BrokerWay():
            yield "# A broker. One more probe that speaks alike: add its topic here, and a table below."
            yield from [*head, 'kind = "mqtt"', f"host = {quoted(way.host)}", f"port = {way.port}"]
            topics = list(dict.fromkeys(spot.scope for spot in spots))
            yield f"topic = [{', '.join(quoted(topic) for topic in topics)}]"
            for key in ("user", "password_file", "ca_file", "cert_file", "key_file"):
                if (value := getattr(way, key)) is not None:
                    yield f"{key} = {quoted(value)}"
        case OneWireWay():
            yield "# One-wire temperature sensors on the computer's own pins, as Linux shows them."
            yield from [*head, 'kind = "one_wire"', f"folder = {quoted(way.folder)}"]
        case FolderWay():
            yield "# A folder into which a logger's CSV files are put. Each is read once, then moved to done."
            yield from [*head, 'kind = "folder"', f"folder = {quoted(way.folder)}"]


def _logger(draft: Draft, way: FolderWay, spots: Sequence[Spot]) -> Iterator[str]:
    yield f"time = {_time(way.time)}"
    if (way.delimiter, way.decimal) != (",", "."):
        yield f"delimiter = {quoted(way.delimiter)}"
        yield f"decimal = {quoted(way.decimal)}"
    yield "field = ["
    for spot in spots:
        for meaning in (m for m in _meanings(draft, spot) if m.key in spot.names):
            yield f"  {{ key = {quoted(meaning.key)}, {_measured(meaning)}, name = {quoted(spot.id)} }},"
    yield "]"


def _probe(spot: Spot, source: str) -> Iterator[str]:
    yield "[[probe]]"
    yield f"id = {quoted(spot.id)}"
    yield f"source = {quoted(source)}"
    if spot.decode != "logger_csv" and spot.names != (spot.id,):
        names = ", ".join(quoted(name) for name in spot.names)
        yield f"name = {names if len(spot.names) == 1 else f'[{names}]'}    # what it calls itself there"
    if spot.decode == "senml":  # of plain JSON the topic is the name
        yield f"topic = {quoted(spot.scope)}    # nothing that comes on another topic is taken for this probe"
    yield f"zone = {quoted(spot.zone)}"
    yield f"place = {quoted(spot.place)}    # {PLACES[spot.place]}; or: {_others(spot.place)}"
    yield f"interval_s = {spot.interval_s:g}    # how often it sends; silent after three of these, 20 s at least"
    yield f"accuracy_K = {spot.accuracy_K:g}    # its temperature error, either way, as its sheet states it"


def _others(place: str) -> str:
    return ", ".join(f'"{name}"' for name in PLACES if name != place)


def _measured(meaning: Meaning) -> str:
    return f"quantity = {quoted(meaning.quantity.value)}, unit = {quoted(meaning.unit)}"


def _time(time: TimeField) -> str:
    zone = f", zone = {quoted(time.zone)}" if time.zone else ""
    return f"{{ key = {quoted(time.key)}, unit = {quoted(time.unit)}{zone} }}"


def quoted(text: str) -> str:
    """A TOML basic string (TOML 1.0.0): JSON's escapes are a part of its own, but for DEL."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007F")
