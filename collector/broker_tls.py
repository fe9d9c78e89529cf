"""A broker reached over TLS: the files that the settings name, and what a connection's error means in words."""

from __future__ import annotations

import socket
import ssl
from pathlib import Path

from collector.source_tables import BrokerLogin

_VERIFY = {
    9: "its certificate is not valid yet: is this machine's clock right?",
    10: "its certificate has expired: renew it (or is this machine's clock wrong?)",
    62: "its certificate is for another name than this host: write host as the certificate has it",
    64: "its certificate is for another address than this host: write host as the certificate has it",
}
"""By OpenSSL's verify codes (openssl-verification-options(1), X509_V_ERR_...)."""
_OTHER_AUTHORITY = "its certificate was not signed by the authority in ca_file: is it the right file?"
NO_ANSWER = (
    "the connection was closed without an answer: if it wants TLS, name its ca_file; "
    "if it wants a certificate of ours, name cert_file and key_file"
)


class LoginFileError(OSError):
    """A file that the settings name for a broker cannot be used; the text says which, why and what to do."""


class _ClosingSocket(ssl.SSLSocket):
    """Closed if the handshake fails: the MQTT library forgets it then, and tries again for ever with new ones."""

    def do_handshake(self, block: bool = False) -> None:
        try:
            super().do_handshake(block)
        except OSError:
            self.close()
            raise


def tls_context(login: BrokerLogin) -> ssl.SSLContext | None:
    """TLS 1.2 or newer, the broker's name and certificate checked; None without ca_file. Raises LoginFileError."""
    if login.ca_file is None:
        return None
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    context.minimum_version = ssl.TLSVersion.TLSv1_2
    context.sslsocket_class = _ClosingSocket
    try:
        context.load_verify_locations(login.ca_file)
    except OSError as error:
        raise LoginFileError(f"ca_file {login.ca_file}: {_unusable(error)}") from error
    if login.cert_file is not None and login.key_file is not None:
        for key, file in (("cert_file", login.cert_file), ("key_file", login.key_file)):
            _readable(key, file)
        try:
            # The empty password: a key that has one is refused instead of asked for at a terminal nobody looks at.
            context.load_cert_chain(login.cert_file, login.key_file, password="")
        except OSError as error:
            files = f"cert_file {login.cert_file} with key_file {login.key_file}"
            raise LoginFileError(
                f"{files}: not a certificate and its own key, in PEM and without a password"
            ) from error
    return context


def password_of(login: BrokerLogin) -> str | None:
    """The one line in password_file. Raises LoginFileError."""
    if login.password_file is None:
        return None
    _readable("password_file", login.password_file)
    return Path(login.password_file).read_text(encoding="utf-8").rstrip("\r\n")


def why_no_connection(error: BaseException | None) -> str:
    """What is wrong, from the error a connection ended with, and what to do where that is known."""
    match error:
        case ssl.SSLCertVerificationError():
            return _VERIFY.get(error.verify_code, _OTHER_AUTHORITY)
        case ssl.SSLError() | ConnectionResetError():  # without TLS, a connection is not cut this early
            return "it does not speak TLS at this port: most brokers do so at 8883, or leave ca_file out"
        case socket.gaierror():
            return "no machine has this name"
        case ConnectionRefusedError():
            return "nothing listens there"
        case TimeoutError():
            return "nothing answers there"
    return str(error) or type(error).__name__


def _readable(key: str, file: str) -> None:
    try:
        with open(file, "rb"):
            return
    except OSError as error:
        raise LoginFileError(f"{key} {file}: {_unusable(error)}") from error


def _unusable(error: OSError) -> str:
    if isinstance(error, ssl.SSLError):
        return "holds no certificate; allowed: PEM text, -----BEGIN CERTIFICATE-----"
    return f"cannot be read ({error.strerror}): put it there, readable by the user who runs coldshed"
