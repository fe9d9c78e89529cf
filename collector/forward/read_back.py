"""Asks a server whether it has what it has acknowledged."""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any, Protocol

from collector.forward.link import ServerError
from collector.settings import Forward
from collector.store.time_series.lines import as_sent
from collector.store.time_series.rows import BACK_MS, ODD


@dataclass(frozen=True, slots=True)
class Sent:
    """`n` readings from t_min to t_max (UTC ms, both in), as in a commit line (store/time_series/lines.py).

    revised  False: of the batches after `since` up to `seq`. True: all that hold there by batch `seq`
    ticks    of the commit lines that say so
    """

    since: int
    seq: int
    revised: bool
    t_min: int
    t_max: int
    n: int
    ticks: tuple[int, ...] = ()

    def with_next(self, later: Sent) -> Sent:
        """Both as one; neither is revised, and the later one follows."""
        t_min, t_max = min(self.t_min, later.t_min), max(self.t_max, later.t_max)
        n, ticks = self.n + later.n, self.ticks + later.ticks
        return Sent(self.since, later.seq, False, t_min, t_max, n, ticks)


class Asked(Protocol):
    """What we need of a link."""

    def ask(self, path: str, query: dict[str, str]) -> str: ...


def count_held(link: Asked, settings: Forward, site: str, sent: Sent) -> int:
    """How many of these readings the server shows. Raises ServerError if it does not say."""
    if not sent.n:
        return 0
    with _told_in_order():
        if settings.server == "victoria-metrics":
            return _exported(link, site, sent)
        return _counted(link, settings.bucket, site, sent)


def has_commits(link: Asked, settings: Forward, site: str, sent: Sent) -> bool:
    """Whether the server shows the lines that count these readings. Raises ServerError if it does not say."""
    first, last = min(sent.ticks, default=0), max(sent.ticks, default=0)
    return _commits(link, settings, site, first, last).keys() >= set(sent.ticks)


def newest_commit(link: Asked, settings: Forward, site: str, tick: int) -> int:
    """The batch up to which the last commit by that tick counts; 0 if none is there.

    Raises ServerError if the server does not say.
    """
    end = tick
    for back in BACK_MS:
        start = max(0, tick - back)
        found = _commits(link, settings, site, start, end)
        if found:
            return int(found[max(found)])
        end = start - 1
        if end < 0:
            break
    return 0


def _commits(link: Asked, settings: Forward, site: str, first: int, last: int) -> dict[int, float]:
    """By tick, from first to last (both in), up to which batch each commit counts."""
    with _told_in_order():
        if settings.server == "victoria-metrics":
            match = f'{{__name__="commit_seq",site={_label(site)}}}'
            parts = [
                zip(part["timestamps"], part["values"], strict=True)
                for part in _export(link, match, first, last)
            ]
        else:
            question = f"SELECT seq FROM commit WHERE site = {_text(site)}"
            parts = [iter(part["values"]) for part in _query(link, settings.bucket, question, first, last)]
        return {int(at): float(seq) for part in parts for at, seq in part}


@contextmanager
def _told_in_order() -> Iterator[None]:
    try:
        yield
    except ODD as error:
        raise ServerError(
            f"the server answers what is no count ({error!r})", "no count", alive=True
        ) from error


def _counted(link: Asked, bucket: str, site: str, sent: Sent) -> int:
    """By InfluxQL, which counts at the server."""
    which = f"seq > {sent.since} AND seq <= {sent.seq} AND rev = ''"
    if sent.revised:
        which = f"rev = '{sent.seq}'"
    question = f"SELECT count(value) FROM reading WHERE site = {_text(site)} AND {which}"
    found = _query(link, bucket, question, sent.t_min, sent.t_max)
    return sum(int(series["values"][0][1]) for series in found)


def _exported(link: Asked, site: str, sent: Sent) -> int:
    """A time may come twice after a repeat."""
    match = f'{{__name__="reading_seq",site={_label(site)},rev="{sent.seq if sent.revised else ""}"}}'
    seen = set()
    for part in _export(link, match, sent.t_min, sent.t_max):
        series = (part["metric"].get("probe"), part["metric"].get("quantity"))
        for at, seq in zip(part["timestamps"], part["values"], strict=True):
            if sent.revised or sent.since < seq <= sent.seq:
                seen.add((*series, at))
    return len(seen)


def _query(link: Asked, bucket: str, question: str, first: int, last: int) -> list[dict[str, Any]]:
    asked = f"{question} AND time >= {first}ms AND time <= {last}ms"
    answer = json.loads(link.ask("/query", {"db": bucket, "q": asked, "epoch": "ms"}))
    result: dict[str, Any] = answer["results"][0]
    if "error" in result:
        raise ValueError(result["error"])
    found: list[dict[str, Any]] = result.get("series", [])
    return found


def _export(link: Asked, match: str, first: int, last: int) -> list[dict[str, Any]]:
    """Raw: one line of JSON for some values of a series."""
    query = {"match[]": match, "start": f"{first / 1000:.3f}", "end": f"{last / 1000:.3f}"}
    return [json.loads(line) for line in link.ask("/api/v1/export", query).splitlines()]


def _text(site: str) -> str:
    return "'" + as_sent(site).replace("\\", "\\\\").replace("'", "\\'") + "'"


def _label(site: str) -> str:
    return json.dumps(as_sent(site), ensure_ascii=False)
