"""What a site's forwarder writes to a time-series server, as line protocol, and what whoever reads it there relies on.

All fields are floats, since a server fixes a field's type by its first value and some keep nothing else; all times are
UTC ms. Every line has the tag `site`. A tick is the time of sending; the ticks of one site only ever grow.

reading    site, probe, quantity, [rev]       value, quality, seq, lag    at the time served, as store.Reader has it
           value    as measured: who reads applies the corrections of probes, as with readings.db
           seq      the batch that the reading came in; lag  received - at, ms
           rev      absent: sent when its batch came. Else the seq of the batch that had it read again: see commit
           corrected  also written where the shop's corrections are known beside the forwarder; not read by us
commit     site                               seq, since, n, t_min, t_max, revised            at a tick
           all batches after `since` up to `seq` have been sent. revised 0: they are `n` readings with since < their seq
           <= seq, from t_min to t_max. revised 1 (FLAGS) or 2 (MOVED): one batch; whatever had been sent before of
           t_min .. t_max holds no longer; what holds instead are the `n` readings there with rev = seq (0 if there are
           none any more). So a reading holds if its rev is the highest seq of all revised commits that cover its time
           (absent if none does). Servers show new series later than others: until n readings are seen, this commit
           has not wholly arrived.
heartbeat  site                               seq, newest, now, kept, by      at a tick, twice a minute, news or not
           seq      sent up to; newest  the last batch in readings.db: newest > seq is a forwarder that lags
           now      the site's clock, UTC ms; kept  lines that the server refused and that are kept at the site
           by       a number that the forwarder draws when it starts: two that come in turns are two computers that
           send under one name, and nothing of such a site counts
facts      site                               probes, suspicions, runs, fields   at a tick: how many of the following
           lines belong to it, all at the same tick, and how many fields these have in all (a field that is left out is
           told from one that is not yet seen). Sent at a start, on a change and every ten minutes.
probe      site, probe, zone, place           interval_s, accuracy_K
suspicion  site, item, probe, kind, [other]   since, [until], shown_from, shown_to, number_<name> ...
run        site, item, boot, state            id, started, lasted, offset, early, [elapsed], [late]
           item     its place in the list: two of a kind at one tick would overwrite each other

A field in brackets is left out where the value is None. Sent twice, all of these overwrite themselves.
"""

from __future__ import annotations

from collections.abc import Mapping

from collector.reading import ProbeFacts, Reading, Suspicion
from collector.store.runs import Run

_ESCAPES = str.maketrans({",": r"\,", "=": r"\=", " ": r"\ "})


def escaped(text: str) -> str:
    """A tag's value in line protocol. Names from the settings hold no line ends.

    A backslash at the end would escape what follows: the form of the client library puts a blank behind it.
    """
    return as_sent(text.translate(_ESCAPES))


def as_sent(text: str) -> str:
    """A tag's value as the server has it once it was escaped."""
    return text + " " if text.endswith("\\") else text


def as_named(text: str) -> str:
    """Inverse of as_sent()."""
    return text[:-1] if text.endswith("\\ ") else text


def line(measurement: str, tags: Mapping[str, str], fields: Mapping[str, float | None], at: int) -> str:
    """One line; at: UTC ms. Empty tags and fields that are None are left out; of the fields one must be left."""
    named = "".join(f",{name}={escaped(value)}" for name, value in tags.items() if value)
    told = ",".join(f"{name}={float(value)!r}" for name, value in fields.items() if value is not None)
    return f"{measurement}{named} {told} {at}"


def reading_line(
    site: str, reading: Reading, seq: int, revised_by: int = 0, corrected: float | None = None
) -> str:
    """One reading of batch `seq`; `revised_by`: the batch that had it read again, 0 if it is new."""
    tags = {"site": site, "probe": reading.probe, "quantity": reading.quantity.value}
    if revised_by:
        tags["rev"] = str(revised_by)
    fields = {
        "value": reading.value, "quality": float(reading.quality), "seq": seq, "lag": reading.received - reading.at,
        "corrected": corrected,
    }  # fmt: skip
    return line("reading", tags, fields, reading.at)


def commit_line(
    site: str, seq: int, since: int, n: int, span: tuple[int, int], revised: int, tick: int
) -> str:
    """How far the server is; span: t_min, t_max of the readings, UTC ms."""
    fields = {"seq": seq, "since": since, "n": n, "t_min": span[0], "t_max": span[1], "revised": revised}
    return line("commit", {"site": site}, fields, tick)


def heartbeat_line(site: str, seq: int, newest: int, now: int, kept: int, by: int, tick: int) -> str:
    """That the site lives, and how far behind its forwarder is."""
    fields = {"seq": seq, "newest": newest, "now": now, "kept": kept, "by": by}
    return line("heartbeat", {"site": site}, fields, tick)


def fact_lines(
    site: str, probes: list[ProbeFacts], suspicions: list[Suspicion], runs: list[Run], tick: int
) -> list[str]:
    """All that is known of a site's probes and clock; the line `facts`, which makes them count, comes last."""
    told = [
        *(("probe", *_probe(probe)) for probe in probes),
        *(("suspicion", *_suspicion(item, number)) for number, item in enumerate(suspicions)),
        *(("run", *_run(run, number)) for number, run in enumerate(runs)),
    ]
    counts = {
        "probes": len(probes), "suspicions": len(suspicions), "runs": len(runs),
        "fields": sum(value is not None for _, _, fields in told for value in fields.values()),
    }  # fmt: skip
    return [
        *(line(name, {"site": site} | tags, fields, tick) for name, tags, fields in told),
        line("facts", {"site": site}, counts, tick),
    ]


_Told = tuple[dict[str, str], dict[str, float | None]]
"""Tags and fields."""


def _probe(probe: ProbeFacts) -> _Told:
    tags = {"probe": probe.id, "zone": probe.zone, "place": probe.place}
    return tags, {"interval_s": probe.interval_s, "accuracy_K": probe.accuracy_K}


def _suspicion(item: Suspicion, number: int) -> _Told:
    tags = {"item": str(number), "probe": item.probe, "kind": item.kind}
    fields: dict[str, float | None] = {
        "since": item.since, "until": item.until, "shown_from": item.shown_from, "shown_to": item.shown_to,
    }  # fmt: skip
    for name, value in item.numbers.items():
        if isinstance(value, str):
            tags[name] = value
        else:
            fields[f"number_{name}"] = value
    return tags, fields


def _run(run: Run, number: int) -> _Told:
    fields: dict[str, float | None] = {
        "id": run.id, "started": run.started, "lasted": run.lasted, "offset": run.offset, "early": run.early,
        "elapsed": run.elapsed, "late": run.late,
    }  # fmt: skip
    return {"item": str(number), "boot": run.boot, "state": run.state}, fields
