"""What we build on is locked by digests, installed by them, and listed: OWASP ASVS 5.0.0, 15.1.2; FAULTS section 3."""

from __future__ import annotations

import json
import re
import subprocess
import sys
from importlib.metadata import distributions
from pathlib import Path

import pytest

CI = Path(__file__).parents[2] / ".ci"
LOCKS = ("requirements.txt", "requirements-test.txt")


def named(name: str) -> str:
    """PEP 503's one form of a name."""
    return re.sub(r"[-_.]+", "-", name).lower()


def locked(lock: str) -> dict[str, tuple[str, set[str]]]:
    """Version and SHA-256 digests of each part of a lock."""
    text = (CI / lock).read_text(encoding="utf-8").replace("\\\n", " ")
    lines = [line for line in text.splitlines() if line.strip() and not line.startswith("#")]
    found = {}
    for line in lines:
        pinned = re.fullmatch(r"([\w.-]+)==(\S+)((?: +--hash=sha256:[0-9a-f]{64})+)", line.strip())
        assert pinned, f"{line[:80]!r} is not pinned to a version and digests alone"
        found[named(pinned[1])] = pinned[2], set(re.findall(r"sha256:(\w{64})", pinned[3]))
    return found


@pytest.mark.parametrize("lock", LOCKS)
def test_every_part_is_pinned_to_a_version_and_its_digests(lock: str) -> None:
    assert len(locked(lock)) > 30


def test_tests_run_on_what_is_shipped() -> None:
    shipped, tested = (locked(lock) for lock in LOCKS)
    assert {name: tested.get(name) for name in shipped} == shipped


def test_nothing_is_installed_but_by_digest() -> None:
    for script in CI.iterdir():
        text = script.read_text(encoding="utf-8") if script.suffix != ".txt" else ""
        for line in re.findall(r"^.*pip\"? install .*$", text, re.MULTILINE):
            own = "--no-deps --no-build-isolation" in line and line.rstrip().endswith(" .")
            tools = script.name == "lock"  # makes the digests, in a folder of its own that goes
            assert own or tools or "--require-hashes" in line, f"{script.name}: {line}"
    assert "--require-hashes" in (CI / "setup").read_text(encoding="utf-8")


def test_what_is_installed_is_what_is_locked() -> None:
    installed = {named(one.metadata["Name"]): one.version for one in distributions()}
    parts = locked(LOCKS[0]).items()
    wanted = {name: version for name, (version, _) in parts if name not in ("setuptools", "wheel")}
    assert {name: installed.get(name) for name in wanted} == wanted


def bill_of_materials() -> Path:
    """As .ci/audit writes it, which .ci/test asks before the tests; made anew if it is older than the lock."""
    made, lock = CI.parent / ".cache" / "sbom.json", CI / LOCKS[0]
    if not made.exists() or made.stat().st_mtime < lock.stat().st_mtime:
        words = re.search(r"cyclonedx-py\" (.*) -o ", (CI / "audit").read_text(encoding="utf-8"))
        assert words
        filled = (
            words[1]
            .replace('"$lock"', str(lock))
            .replace("pyproject.toml", str(CI.parent / "pyproject.toml"))
        )
        made.parent.mkdir(exist_ok=True)
        command = [sys.executable, "-W", "ignore", "-m", "cyclonedx_py", *filled.split()]
        made.write_bytes(subprocess.run(command, check=True, capture_output=True).stdout)
    return made


def test_the_bill_of_materials_names_every_part_that_is_locked() -> None:
    """CycloneDX (ECMA-424)."""
    made = bill_of_materials()
    bill = json.loads(made.read_text(encoding="utf-8"))
    assert bill["bomFormat"] == "CycloneDX"
    listed = {
        named(part["name"]): (
            part["version"],
            {one["content"] for where in part["externalReferences"] for one in where.get("hashes", ())},
        )
        for part in bill["components"]
    }
    assert listed == locked(LOCKS[0])
    assert bill["metadata"]["component"]["name"] == "coldshed"


def test_a_look_for_known_faults_is_part_of_the_checks_and_says_when_it_could_not_look() -> None:
    assert "\n.ci/audit\n" in (CI / "test").read_text(encoding="utf-8")
    audit = (CI / "audit").read_text(encoding="utf-8")
    assert "--vulnerability-service osv" in audit
    assert "not looked up: no network" in audit
