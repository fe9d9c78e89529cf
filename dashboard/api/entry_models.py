"""Entries as the API takes them. Times UTC ms, masses g, temperatures degC; who: a name, see Who."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, Strict, model_validator

from dashboard.display import LAST_MS
from dashboard.door.visitor import speaks_as
from dashboard.panel import CoatKind
from dashboard.step_check import LONGEST_REASON, LONGEST_TEXT
from model.observation import Word

Id = Annotated[str, Field(pattern=r"^[A-Za-z0-9_-]{8,64}$")]
UNSEEN = r"\x00-\x1f\x7f-\x9f\u2028\u2029\u200e\u200f\u061c\u202a-\u202e\u2066-\u2069"
"""Controls, line ends, marks that turn the direction of writing: a name that has them reads otherwise than it is."""
Short = Annotated[str, Field(min_length=1, max_length=64, pattern=f"^[^{UNSEEN}]+$")]
Who = Annotated[
    str,
    Field(max_length=64, pattern=f"^[^{UNSEEN}]*$", validate_default=True),
    AfterValidator(speaks_as),
]
"""The name that an entry carries: as typed where the house is open, else what the door says of whoever asks."""
PanelId = Annotated[str, Field(min_length=1, max_length=64)]


def is_number(value: object) -> object:
    """A text that reads as a number, or yes and no, is none in JSON."""
    if isinstance(value, str | bool):
        raise ValueError("a number is asked for")
    return value


Number = Annotated[float, Strict(), Field(allow_inf_nan=False)]
Yes = Annotated[bool, Strict()]
Moment = Annotated[int, Field(ge=0, lt=LAST_MS), BeforeValidator(is_number)]
"""UTC ms."""
Reason = Annotated[str, Field(min_length=1, max_length=LONGEST_REASON, pattern=f"^[^{UNSEEN}]+$")]


PREFERENCES = {"unit": ("degC", "degF"), "measures": ("metric", "US"), "decimal": ("point", "comma")}


class Body(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class Planned(Body):
    """A coat that is to come."""

    kind: CoatKind = CoatKind.LAMINATE
    card: Short | None = None


class Registration(Body):
    """A new panel; its id is made from its name. vertical: it stands or hangs."""

    id: Id
    who: Who = ""
    name: Short
    zone: Short
    surface_probe: Short | None = None
    air_probe: Short | None = None
    substrate: Short
    vertical: Yes = False
    plan: Annotated[list[Planned], Field(max_length=60)] = []


class PouredPot(Body):
    """What is known of a pot. stirred: stirred, scraped, stirred; asked_g: to be mixed, not weighed."""

    resin_g: Number | None = None
    hardener_g: Number | None = None
    vessel: Literal["cup", "tray"] | None = None
    bottles_C: Number | None = None
    stirred: Yes | None = None
    asked_g: Number | None = None


class Coat(Body):
    """A coat mixed with a card, from lots, and its first pot. taped: masked with tape that is to be pulled."""

    card: Short
    applied_at: Moment | None = None
    kind: CoatKind = CoatKind.LAMINATE
    peel_ply: Yes = False
    taped: Yes = False
    resin_lot: Short | None = None
    hardener_lot: Short | None = None
    pot: PouredPot | None = None


class Act(Body):
    """What happened to a panel. at: UTC ms when it happened; None: now."""

    id: Id
    who: Who = ""
    at: Moment | None = None
    panel: PanelId


class Tap(Act):
    """Something done to a panel, of which nothing more is said."""

    kind: Literal[
        "coat applied", "washed", "wiped", "sanded", "trimmed", "peel ply off", "clamps off", "tape pulled",
        "heat off", "demoulded", "closed",
    ]  # fmt: skip


class Mixed(Act):
    """A coat was mixed."""

    kind: Literal["coat mixed"]
    body: Coat


class AnotherPot(Body):
    """One more pot for the newest coat."""

    pot: PouredPot | None = None


class MixedPot(Act):
    """Another pot was mixed for the newest coat."""

    kind: Literal["pot mixed"]
    body: AnotherPot = AnotherPot()


class Weights(Body):
    """What is told later of a pot. of: the entry that mixed it."""

    of: Id
    pot: PouredPot


class Weighed(Act):
    """What was poured, or whether it was stirred."""

    kind: Literal["pot weighed"]
    body: Weights


class Felt(Body):
    """What was found on a film. tile_C: degC, if a tile that cured beside the panel was felt in its place.

    patchy   hard here and soft there
    """

    words: Annotated[list[Word], Field(min_length=1, max_length=3)]
    tile_C: Number | None = None
    patchy: Yes = False


class Thumb(Act):
    """A thumb test."""

    kind: Literal["thumb test"]
    body: Felt


class OfTest(Body):
    """of: the entry of the thumb test."""

    of: Id


class ThumbSure(Act):
    """An unlikely answer was meant as it was said."""

    kind: Literal["thumb sure"]
    body: OfTest


class Tester(Body):
    """What a hardness tester showed, on what, and how warm that was, degC."""

    scale: Literal["Shore A", "Shore D", "Barcol"]
    value: Number
    on: Literal["part", "tile"]
    at_C: Number


class Tested(Act):
    """A hardness test."""

    kind: Literal["hardness"]
    body: Tester


class Heat(Body):
    """hold_C: what the heater holds the panel at, degC, if it has a thermostat."""

    hold_C: Number | None = None


class Heated(Act):
    """The heater was switched on."""

    kind: Literal["heat on"]
    body: Heat = Heat()


class Why(Body):
    """A reason of one line."""

    reason: Reason


class Reasoned(Act):
    """Held, released or scrapped, and why."""

    kind: Literal["held", "released", "scrapped"]
    body: Why


class Place(Body):
    """Where the panel is from now on, and the probes that stand for it there."""

    zone: Short
    surface_probe: Short | None = None
    air_probe: Short | None = None


class Moved(Act):
    """The panel was carried to another place."""

    kind: Literal["panel moved"]
    body: Place


class Change(Body):
    """What is said anew of a panel; what is left out stays."""

    name: Short | None = None
    substrate: Short | None = None
    vertical: Yes | None = None
    plan: Annotated[list[Planned], Field(max_length=60)] | None = None


class Changed(Act):
    """A panel is described anew."""

    kind: Literal["panel changed"]
    body: Change


class Note(Body):
    """Free text of one line or more."""

    text: Annotated[str, Field(min_length=1, max_length=LONGEST_TEXT, pattern=f"^([^{UNSEEN}]|\\n)+$")]


class Noted(Act):
    """A note on a panel."""

    kind: Literal["note"]
    body: Note


class Seen(Body):
    """Somebody has seen an alarm. at: UTC ms when; None: now."""

    id: Id
    who: Who = ""
    at: Moment | None = None
    kind: Literal["alarm seen"]
    alarm: Annotated[str, Field(min_length=1, max_length=200)]


class Withdrawn(Body):
    """An entry is taken back; it stays readable. reason: why, if somebody says."""

    id: Id
    who: Who = ""
    kind: Literal["withdrawn"]
    panel: PanelId | None = None
    event: Id
    reason: Reason | None = None


class Time(Body):
    """to: UTC ms at which the entry really happened."""

    event: Id
    to: Moment
    reason: Reason | None = None


class TimeChanged(Act):
    """An entry happened at another time; what was said of it first stays readable."""

    kind: Literal["time changed"]
    body: Time


class SeenTo(Body):
    """Somebody saw to a probe that was suspected: mended it, or found it right as it was."""

    id: Id
    who: Who = ""
    kind: Literal["probe put right"]
    probe: Short
    fixed: Yes


class Unit(Body):
    """The shop's unit of temperature, its system of weights and areas, or its decimal sign."""

    model_config = ConfigDict(
        json_schema_extra={
            "oneOf": [
                {"properties": {"key": {"const": key}, "value": {"enum": list(values)}}}
                for key, values in PREFERENCES.items()
            ]
        }
    )

    id: Id
    who: Who = ""
    kind: Literal["preference"]
    key: Literal["unit", "measures", "decimal"]
    value: Literal["degC", "degF", "metric", "US", "point", "comma"]

    @model_validator(mode="after")
    def _fits(self) -> Unit:
        """Raises ValueError for a value that is not one of the key's."""
        allowed = PREFERENCES[self.key]
        if self.value not in allowed:
            raise ValueError(f"{self.key} is {self.value!r}; allowed: {', '.join(allowed)}")
        return self


Told = (
    Mixed
    | MixedPot
    | Weighed
    | Thumb
    | ThumbSure
    | Tested
    | Heated
    | Reasoned
    | Moved
    | Changed
    | Noted
    | TimeChanged
)
"""Entries of a panel that say more than that something was done."""
Entry = Annotated[Tap | Told | Seen | SeenTo | Withdrawn | Unit, Field(discriminator="kind")]


def body_of(entry: Tap | Told | Seen | SeenTo | Withdrawn | Unit) -> dict[str, Any]:
    """What the logbook keeps of an entry beside who, when and which panel; what nobody said is left out."""
    match entry:
        case Tap():
            return {}
        case Seen():
            return {"alarm": entry.alarm}
        case SeenTo():
            return {"probe": entry.probe, "serial": "", "fixed": entry.fixed}
        case Withdrawn():
            return {"event": entry.event} | ({"reason": entry.reason} if entry.reason else {})
        case Unit():
            return {"key": entry.key, "value": entry.value}
        case _:
            return entry.body.model_dump(mode="json", exclude_none=True)
