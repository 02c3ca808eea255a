"""A real mail server on the loopback: STARTTLS or TLS, login, and the faults of such servers."""
# ruff: noqa: N802 (the library calls methods by the commands of SMTP)

from __future__ import annotations

import asyncio
import socket
import ssl
import threading
import warnings
from collections import defaultdict, deque
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import trustme
from aiosmtpd.smtp import SMTP, AuthResult, Envelope, LoginPassword, Session

DROP = "drop"  # as a reply: cut the line without a word
HANG = "hang"  # as a reply: say nothing until the end
USER, PASSWORD = "farm@example.org", "correct horse 5"


@dataclass(frozen=True)
class Received:
    """A message that the server took upon itself."""

    sender: str
    recipients: tuple[str, ...]
    data: bytes
    options: tuple[str, ...]
    was_encrypted: bool
    login: str | None

    @property
    def message_id(self) -> str:
        """What stands behind Message-ID."""
        for line in self.data.split(b"\r\n\r\n")[0].split(b"\r\n"):
            if line.lower().startswith(b"message-id:"):
                return line.partition(b":")[2].strip().decode()
        raise AssertionError("a message without Message-ID")


class MailServer:
    """A server in a thread of its own.

    `fault` puts one reply in the place of the usual one, once, at one of the steps connect, ehlo,
    starttls, auth, mail, rcpt (or rcpt of one address), data (before the message), middle (of the
    message), message (the reply to it; the message is not taken) and taken (the message is taken,
    then this is the reply).
    """

    def __init__(
        self,
        folder: Path,
        *,
        security: str = "starttls",
        has_auth: bool = True,
        has_utf8: bool = True,
        host_name: str = "127.0.0.1",
        mechanisms: tuple[str, ...] = ("PLAIN", "LOGIN"),
    ) -> None:
        self.received: list[Received] = []
        self.steps: list[str] = []
        self.n_talks = 0  # lines that are open now
        self.faults: dict[str, deque[str]] = defaultdict(deque)
        self.lasting: dict[str, str] = {}
        self.security, self.has_auth, self.has_utf8 = security, has_auth, has_utf8
        self.mechanisms = mechanisms
        authority = trustme.CA()
        self.ca_file = folder / "ca.pem"
        authority.cert_pem.write_to_path(str(self.ca_file))
        self._context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
        authority.issue_cert(host_name).configure_cert(self._context)
        self._socket = socket.create_server(("127.0.0.1", 0))
        self.port = int(self._socket.getsockname()[1])
        self._loop = asyncio.new_event_loop()
        self._ready = threading.Event()
        self._thread = threading.Thread(target=self._serve, daemon=True)
        self._thread.start()
        self._ready.wait(10)

    def fault(self, step: str, *replies: str) -> None:
        """Reply so at the next passages of a step."""
        self.faults[step].extend(replies)

    def reply(self, step: str) -> str | None:
        """The reply that was put in the place of the usual one."""
        self.steps.append(step)
        if self.faults[step]:
            return self.faults[step].popleft()
        return self.lasting.get(step)

    def _serve(self) -> None:
        asyncio.set_event_loop(self._loop)
        self._loop.set_exception_handler(lambda loop, context: None)  # clients that were killed
        starting = self._loop.create_server(
            lambda: _Talk(self, self._loop),
            sock=self._socket,
            ssl=self._context if self.security == "tls" else None,
        )
        self._server = self._loop.run_until_complete(starting)
        self._ready.set()
        self._loop.run_forever()
        tasks = asyncio.all_tasks(self._loop)
        for task in tasks:
            task.cancel()
        self._loop.run_until_complete(asyncio.gather(*tasks, return_exceptions=True))
        self._loop.run_until_complete(self._loop.shutdown_asyncgens())
        self._loop.close()

    def starttls_context(self) -> ssl.SSLContext | None:
        """What STARTTLS turns on; None: it is not offered."""
        return self._context if self.security == "starttls" else None

    def close(self) -> None:
        """Stop taking mail and let go of the port."""
        self._loop.call_soon_threadsafe(self._server.close)
        self._loop.call_soon_threadsafe(self._loop.stop)
        self._thread.join(10)
        self._socket.close()


class _Talk(SMTP):
    """One talk; each step first asks the server whether a fault was ordered."""

    def __init__(self, server: MailServer, loop: asyncio.AbstractEventLoop) -> None:
        self._mail_server = server
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # that a login without TLS is unwise
            super().__init__(
                _Handler(server),
                hostname="mail.example.org",
                tls_context=server.starttls_context(),
                require_starttls=server.security == "starttls",
                auth_required=server.has_auth,
                auth_require_tls=server.security == "starttls",
                authenticator=_authenticated if server.has_auth else None,
                auth_exclude_mechanism=[
                    name for name in ("PLAIN", "LOGIN") if name not in server.mechanisms
                ],
                enable_SMTPUTF8=server.has_utf8,
                loop=loop,
            )

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        if self.transport is None:  # not a second time, when STARTTLS is through
            self._mail_server.n_talks += 1
        super().connection_made(transport)

    def connection_lost(self, error: Exception | None) -> None:
        self._mail_server.n_talks -= 1
        super().connection_lost(error)

    async def _handle_client(self) -> None:
        if not await self._has_fault("connect"):
            await super()._handle_client()

    async def smtp_EHLO(self, hostname: str) -> None:
        if not await self._has_fault("ehlo"):
            await super().smtp_EHLO(hostname)

    async def smtp_STARTTLS(self, arg: str) -> None:
        if not await self._has_fault("starttls"):
            await super().smtp_STARTTLS(arg)

    async def smtp_QUIT(self, arg: str) -> None:
        self._mail_server.reply("quit")
        await super().smtp_QUIT(arg)

    async def smtp_AUTH(self, arg: str) -> None:
        if not await self._has_fault("auth"):
            await super().smtp_AUTH(arg)

    async def smtp_MAIL(self, arg: str | None) -> None:
        if not await self._has_fault("mail"):
            await super().smtp_MAIL(arg)

    async def smtp_RCPT(self, arg: str | None) -> None:
        address = str(arg).partition(":")[2].split()[0].strip("<>")
        if not (await self._has_fault("rcpt") or await self._has_fault(f"rcpt {address}")):
            await super().smtp_RCPT(arg)

    async def smtp_DATA(self, arg: str) -> None:
        if await self._has_fault("data"):
            return
        if self._mail_server.reply("middle") == DROP:
            await self.push("354 go on")
            await self._reader.readuntil(b"\r\n")
            self.transport.abort()
            return
        await super().smtp_DATA(arg)

    async def _has_fault(self, step: str) -> bool:
        """Whether a fault was ordered for this step; it is done then."""
        reply = self._mail_server.reply(step)
        if reply is None:
            return False
        if reply == DROP:
            self.transport.abort()
        elif reply == HANG:
            await asyncio.sleep(60)
        else:
            await self.push(reply)
            if reply.startswith("421") or step == "connect":
                self.transport.close()
        return True


class _Handler:
    def __init__(self, server: MailServer) -> None:
        self._server = server

    async def handle_DATA(self, talk: _Talk, session: Session, envelope: Envelope) -> str:
        refusal = self._server.reply("message")
        if refusal is None:
            self._server.received.append(_received(talk, session, envelope))
            refusal = self._server.reply("taken")
        if refusal == DROP:
            talk.transport.abort()
        if refusal == HANG:
            await asyncio.sleep(60)
        return refusal or "250 taken"


def _received(talk: _Talk, session: Session, envelope: Envelope) -> Received:
    login = session.auth_data
    return Received(
        sender=str(envelope.mail_from),
        recipients=tuple(envelope.rcpt_tos),
        data=bytes(envelope.original_content or b""),
        options=tuple(envelope.mail_options),
        was_encrypted=talk.transport.get_extra_info("ssl_object") is not None,
        login=login.login.decode() if isinstance(login, LoginPassword) else None,
    )


def _authenticated(
    server: Any, session: Session, envelope: Envelope, mechanism: str, login: LoginPassword
) -> AuthResult:
    is_right = (login.login, login.password) == (USER.encode(), PASSWORD.encode())
    return AuthResult(success=is_right, handled=False, auth_data=login)


@contextmanager
def mail_server(folder: Path, **how: Any) -> Iterator[MailServer]:
    """A running server, stopped in the end."""
    server = MailServer(folder, **how)
    try:
        yield server
    finally:
        server.close()
