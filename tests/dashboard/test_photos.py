"""Photos: taken in as bytes under an entry's id, shown only on their panel, refused if they are anything else."""

from __future__ import annotations

import hashlib
import os

import pytest

from dashboard.door.limits import MAX_PICTURE
from dashboard.logbook import NIGHT_BYTES
from tests.browser.fake_shop import FakeShop
from tests.dashboard.client import ORIGIN, Client, new_id

JPEG = b"\xff\xd8\xff\xe0" + bytes(200)
"""Starts as ITU-T T.81 B.1.1.3 says; nobody looks at the rest."""


def send(client: Client, content: bytes, kind: str = "image/jpeg", panel: str = "lid-4", entry: str = ""):  # type: ignore[no-untyped-def]
    headers = {"origin": ORIGIN, "sec-fetch-site": "same-origin", "content-type": kind}
    path = f"/api/panels/{panel}/photos/{entry or new_id()}?who=Kim"
    return client.send("POST", path, headers, content=content)


def test_a_photo_is_kept_once_and_shown_as_what_it_is(client: Client, shop: FakeShop) -> None:
    entry = new_id()
    first, again = (send(client, JPEG, entry=entry).json() for _ in range(2))
    assert (first["new"], again["new"]) == (True, False)
    digest = hashlib.sha256(JPEG).hexdigest()
    shown = client.get(f"/panels/lid-4/photos/{digest}")
    assert (shown.content, shown.headers["content-type"]) == (JPEG, "image/jpeg")
    assert shown.headers["x-content-type-options"] == "nosniff"
    assert shown.headers["cache-control"] == "private, no-cache", "it is asked for each time, and sent once"
    path, tag = f"/panels/lid-4/photos/{digest}", shown.headers["etag"]
    again = client.get(path, **{"if-none-match": tag})
    assert (again.status_code, again.content, again.headers["etag"]) == (304, b"", tag)
    assert client.get(path.replace("lid-4", "box-a"), **{"if-none-match": tag}).status_code == 404
    assert client.get(f"/panels/box-a/photos/{digest}").status_code == 404, "only on its own panel"
    assert f"/panels/lid-4/photos/{digest}" in client.get("/panels/lid-4").text
    assert shop.logbook.events()[-1].who == "Kim"


@pytest.mark.parametrize(
    ("content", "kind", "panel", "status"),
    [
        (b"<script>alert(1)</script>", "image/png", "lid-4", 415),
        (b"RIFF\x00\x00\x00\x00WAVE" + bytes(64), "image/webp", "lid-4", 415),
        (JPEG, "image/svg+xml", "lid-4", 415),
        (JPEG, "application/json", "lid-4", 415),
        (JPEG + bytes(MAX_PICTURE), "image/jpeg", "lid-4", 413),
        (JPEG, "image/jpeg", "nobody", 404),
    ],
)
def test_what_is_no_picture_of_a_panel_is_refused(
    client: Client, shop: FakeShop, content: bytes, kind: str, panel: str, status: int
) -> None:
    before = shop.logbook.events()
    assert send(client, content, kind, panel).status_code == status
    assert shop.logbook.events() == before


def test_another_site_sends_no_photo_and_no_other_address_takes_bytes(client: Client) -> None:
    other = {"origin": "http://evil.example", "content-type": "image/jpeg"}
    path = f"/api/panels/lid-4/photos/{new_id()}"
    assert client.send("POST", path, other, content=JPEG).status_code == 403
    ours = {"origin": ORIGIN, "content-type": "image/jpeg"}
    assert client.send("POST", "/api/events", ours, content=JPEG).status_code == 415


def test_no_photo_takes_the_room_that_the_night_needs(
    client: Client, shop: FakeShop, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A device that may log could else send so many that no reading is stored any more."""
    before, free = shop.logbook.events(), NIGHT_BYTES + len(JPEG) - 1

    def room(folder: object) -> os.statvfs_result:
        return os.statvfs_result((1, 1, 0, 0, free, 0, 0, 1, 0, 255))

    monkeypatch.setattr("dashboard.logbook.os.statvfs", room)
    answer = send(client, JPEG)
    assert (answer.status_code, shop.logbook.events()) == (409, before)
    assert "nly 200 MB are free" in answer.json()["error"]["what"]
    assert client.post("/api/events", {"id": new_id(), "kind": "washed", "panel": "lid-4"}).status_code == 200
    free += 1
    assert send(client, JPEG).status_code == 200
