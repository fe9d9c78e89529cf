"""SenML, RFC 8428, in JSON: measurement lists with base fields, relative times and units in the payload.

Taken: records with a number (`v`) in Cel, K or %RH; those are the units of its registry (section 12.1) that
are quantities of ours. Values that are text, true/false or data, and sums, are passed over. A pack whose base
fields cannot be trusted is refused whole, since later records rest on them; a bad record alone falls alone.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from collector import settings
from collector.arrival import Arrival, Decoded, Sample
from collector.decode import strict_json
from collector.decode.strict_json import NotUsable
from collector.reading import Quantity

VERSION = 10
MAX_RECORDS = 1000
RELATIVE_BELOW_S = 2**28
"""Section 4.5.3: a time below this counts from now; from it on, seconds since 1970."""
LATEST_S = 4_102_444_800
"""2100-01-01 UTC: a time past this is in another unit than seconds."""

_UNITS: dict[str, tuple[Quantity, float]] = {
    "Cel": (Quantity.TEMPERATURE, 0.0),
    "K": (Quantity.TEMPERATURE, -273.15),
    "%RH": (Quantity.RELATIVE_HUMIDITY, 0.0),
}
_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9\-:./_]*")
_BASE: dict[str, type] = {"bn": str, "bu": str, "bt": float, "bv": float, "bs": float, "bver": float}
_REGULAR: dict[str, type] = {"n": str, "u": str, "v": float, "t": float}
_OTHER_VALUES = frozenset({"vs", "vb", "vd", "s"})


@dataclass
class _Base:
    """The base fields in force; each holds until a record brings it anew (section 4)."""

    bn: str = ""
    bu: str | None = None
    bt: float = 0.0
    bv: float = 0.0


class SenMLDecoder:
    """Bytes of one SenML pack to samples; pure, and never raises for any bytes."""

    def __init__(self, settings: settings.SenML) -> None:
        self.settings = settings

    def decode(self, arrival: Arrival) -> Decoded:
        """Samples under their resolved names, in degC and %, at UTC ms.

        A record without bt and t, or whose time is 0, brought no time of its own (at = None). A time relative
        to "now" is one only while now is known: for an arrival that is not live it counts as no time.
        """
        decoded = Decoded()
        try:
            records = _pack(arrival.payload)
            base = _Base()
            for record in records:
                _rebase(base, record)
                try:
                    if sample := _sample(base, record, arrival):
                        decoded.samples.append(sample)
                except NotUsable as error:
                    decoded.refused.append(error.refusal)
        except NotUsable as error:
            return Decoded(refused=[error.refusal])
        return decoded


def _pack(payload: bytes) -> list[dict[str, object]]:
    """The records of a pack we may read at all: right shape, version known, no field we must understand."""
    document = strict_json.load(payload)
    if not isinstance(document, list) or not document:
        raise NotUsable("not SenML", "a SenML pack is a JSON array with one object for each record")
    if len(document) > MAX_RECORDS:
        raise NotUsable("too large", f"{len(document)} records; allowed: up to {MAX_RECORDS} in one pack")
    for record in document:
        if not isinstance(record, dict):
            raise NotUsable("not SenML", "each record of a SenML pack is a JSON object")
        for label in record:
            if label[-1:] == "_":
                text = f"the field {label[:60]!r} must be understood (it ends with _), but is not known here"
                raise NotUsable("unknown field", text)
        _check(record, _BASE)
    _check_version({record["bver"] for record in document if "bver" in record})
    return document


def _check_version(versions: set[object]) -> None:
    if len(versions) > 1:
        raise NotUsable("version", "records of one pack have different bver; allowed: one version in a pack")
    for version in versions:
        if not isinstance(version, int | float) or version not in range(1, VERSION + 1):
            text = f"bver {version}; allowed: whole numbers from 1 to {VERSION} (RFC 8428)"
            raise NotUsable("version", text)


def _check(record: dict[str, object], types: dict[str, type]) -> None:
    """Raises NotUsable if a field has another JSON type than Table 2 gives it; true is not a number."""
    for label, value in record.items():
        wanted = types.get(label)
        if wanted is None:
            continue
        right = isinstance(value, str) if wanted is str else type(value) in (int, float)
        if not right:
            kind = "text" if wanted is str else "a number"
            raise NotUsable("wrong type", f"{label} is {str(value)[:40]!r}; allowed: {kind}")


def _rebase(base: _Base, record: dict[str, object]) -> None:
    for label in ("bn", "bu", "bt", "bv"):
        if label in record:
            setattr(base, label, record[label])


def _sample(base: _Base, record: dict[str, object], arrival: Arrival) -> Sample | None:
    """The record resolved (section 4.6); None if it holds no number, as one of base fields alone does."""
    _check(record, _REGULAR)
    if "v" not in record:
        if record.keys() & _REGULAR.keys() and not record.keys() & _OTHER_VALUES:
            raise NotUsable("no value", "a record without a value; allowed: one of v, vs, vb, vd, or a sum s")
        return None
    name = base.bn + str(record.get("n", ""))
    if not _NAME.fullmatch(name):
        text = f"the name {name[:60]!r}; allowed: letters, digits and -:./_, the first a letter or digit"
        raise NotUsable("bad name", text)
    unit = record.get("u", base.bu)
    if unit is None:
        raise NotUsable("no unit", f"{name[:60]} has no unit; allowed: u or bu with {', '.join(_UNITS)}")
    if unit not in _UNITS:
        raise NotUsable(
            "other unit", f"unit {str(unit)[:20]!r} is no quantity of ours; taken: {', '.join(_UNITS)}"
        )
    quantity, shift = _UNITS[str(unit)]
    value = base.bv + _number(record, "v") + shift
    if not math.isfinite(value):
        raise NotUsable("not clear", "bv + v is larger than a double can hold")
    at, ours = _time(base, record, arrival)
    return Sample(name, quantity, value, at, ours)


def _time(base: _Base, record: dict[str, object], arrival: Arrival) -> tuple[int | None, bool]:
    """UTC ms, and whether it was counted from now (section 4.5.3)."""
    seconds = base.bt + _number(record, "t")
    if not abs(seconds) < LATEST_S:
        text = f"time {seconds:.6g} is not between 1970 and 2100; allowed: seconds since 1970, or from now"
        raise NotUsable("time", text)
    if seconds >= RELATIVE_BELOW_S:
        return round(seconds * 1000), False
    if seconds == 0 or not arrival.live:
        return None, False
    return arrival.received + round(seconds * 1000), True


def _number(record: dict[str, object], label: str) -> float:
    value = record.get(label, 0.0)
    assert isinstance(value, int | float)  # _check has refused anything else
    return float(value)
