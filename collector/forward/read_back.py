"""Asks a server how many of the readings it has that it has acknowledged."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Any, Protocol

from collector.forward.link import ServerError
from collector.settings import Forward
from collector.store.time_series.lines import as_sent
from collector.store.time_series.rows import ODD


@dataclass(frozen=True, slots=True)
class Sent:
    """`n` readings from t_min to t_max (UTC ms, both in), as in a commit line (store/time_series/lines.py).

    revised  False: of the batches after `since` up to `seq`. True: all that hold there by batch `seq`
    """

    since: int
    seq: int
    revised: bool
    t_min: int
    t_max: int
    n: int

    def with_next(self, later: Sent) -> Sent:
        """Both as one; neither is revised, and the later one follows."""
        t_min, t_max = min(self.t_min, later.t_min), max(self.t_max, later.t_max)
        return Sent(self.since, later.seq, False, t_min, t_max, self.n + later.n)


class Asked(Protocol):
    """What we need of a link."""

    def ask(self, path: str, query: dict[str, str]) -> str: ...


def count_held(link: Asked, settings: Forward, site: str, sent: Sent) -> int:
    """How many of these readings the server shows. Raises ServerError if it does not say."""
    if not sent.n:
        return 0
    try:
        if settings.server == "victoria-metrics":
            return _exported(link, site, sent)
        return _counted(link, settings.bucket, site, sent)
    except ODD as error:
        raise ServerError(
            f"the server answers what is no count ({error!r})", "no count", alive=True
        ) from error


def _counted(link: Asked, bucket: str, site: str, sent: Sent) -> int:
    """By InfluxQL, which counts at the server."""
    name = as_sent(site).replace("\\", "\\\\").replace("'", "\\'")
    which = f"""seq > {sent.since} AND seq <= {sent.seq} AND rev = ''"""
    if sent.revised:
        which = f"rev = '{sent.seq}'"
    question = (
        f"SELECT count(value) FROM reading WHERE site = '{name}' AND {which} "
        f"AND time >= {sent.t_min}ms AND time <= {sent.t_max}ms"
    )
    answer = json.loads(link.ask("/query", {"db": bucket, "q": question, "epoch": "ms"}))
    result: dict[str, Any] = answer["results"][0]
    if "error" in result:
        raise ValueError(result["error"])
    return sum(int(series["values"][0][1]) for series in result.get("series", []))


def _exported(link: Asked, site: str, sent: Sent) -> int:
    """From the raw export, one line of JSON for some values of a series; a time may come twice after a repeat."""
    rev = str(sent.seq) if sent.revised else ""
    query = {
        "match[]": f'{{__name__="reading_seq",site={json.dumps(as_sent(site), ensure_ascii=False)},rev="{rev}"}}',
        "start": f"{sent.t_min / 1000:.3f}",
        "end": f"{sent.t_max / 1000:.3f}",
    }
    seen = set()
    for line in link.ask("/api/v1/export", query).splitlines():
        part = json.loads(line)
        series = (part["metric"].get("probe"), part["metric"].get("quantity"))
        for at, seq in zip(part["timestamps"], part["values"], strict=True):
            if sent.revised or sent.since < seq <= sent.seq:
                seen.add((*series, at))
    return len(seen)
