"""Certificates for one test run, made by openssl: an authority, and what it signs."""

from __future__ import annotations

import subprocess
from pathlib import Path

from tests.services import find

CURVE = ["-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes"]


class Authority:
    """Signs certificates. `file` is what those who trust it name as ca_file."""

    def __init__(self, folder: Path, name: str = "invented-authority") -> None:
        folder.mkdir(parents=True, exist_ok=True)
        self.file = folder / f"{name}.pem"
        self._folder = folder
        self._key = folder / f"{name}.key"
        # The key usage that RFC 5280 section 4.2.1.3 asks of an authority; strict readers insist on it.
        usage = ["-addext", "keyUsage=critical,keyCertSign,cRLSign"]
        _openssl(
            "req", "-x509", *CURVE, "-keyout", self._key, "-out", self.file, "-subj", f"/CN={name}", *usage
        )

    def sign(self, name: str, alternative: str = "IP:127.0.0.1", days: int = 2) -> tuple[Path, Path]:
        """Certificate and key for `alternative` (subjectAltName, RFC 5280 section 4.2.1.6), valid so many days.

        Minus one: it ended yesterday.
        """
        certificate, key, request = (self._folder / f"{name}.{end}" for end in ("pem", "key", "csr"))
        extensions = self._folder / f"{name}.ext"
        extensions.write_text(f"subjectAltName={alternative}\n")
        _openssl("req", "-new", *CURVE, "-keyout", key, "-out", request, "-subj", f"/CN={name}")
        signed_by = ["-CA", self.file, "-CAkey", self._key, "-CAcreateserial", "-days", str(days)]
        _openssl("x509", "-req", "-in", request, *signed_by, "-extfile", extensions, "-out", certificate)
        return certificate, key


def _openssl(*words: object) -> None:
    done = subprocess.run([find("openssl"), *map(str, words)], capture_output=True, check=False)
    assert done.returncode == 0, done.stderr.decode(errors="replace")
