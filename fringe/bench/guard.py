"""Which requests the bench page accepts.

The page is served on the machine itself alone, or to the local network for devices that were
let in by a pass from the screen. Whichever it is, a request is refused

- if it names a host that is not this page's own (another site's name that was pointed here),
- if a browser says that another site made it, by `Sec-Fetch-Site` or `Origin`,
- if it changes anything and does not carry the token that only the page itself knows.
"""

from __future__ import annotations

import math
import secrets
import threading
import time
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass

# without letters and digits that are taken for one another
_LETTERS = "abcdefghjkmnpqrstuvwxyz23456789"
_PASS_LENGTH = 8
# After so many wrong passes from one address each further one makes it wait, twice as long each
# time, up to the longest [s].
FREE_TRIES, LONGEST_WAIT_S = 4, 300.0
MOST_ADDRESSES = 1000
MOST_DEVICES = 32


class NotAllowedError(Exception):
    """A refused request; the text gives the reason, `status` is the HTTP status."""

    def __init__(self, why: str, status: int = 403) -> None:
        super().__init__(why)
        self.status = status


@dataclass(frozen=True)
class _Wrong:
    """Wrong passes from one address, and until when it has to wait."""

    count: int = 0
    until_s: float = 0.0


class Guard:
    """Checks requests.

    Parameters
    ----------
    hosts : iterable of str
        Names and addresses of this machine that may stand in a request, without the port.
    needs_pass : bool
        Whether a device has to be let in first.
    new_pass : callable
        Called with each new one-time pass, to show it on the screen.
    clock : callable
        Tells seconds that only grow.
    scheme : str
        `http`, or `https` where the page is encrypted.
    """

    def __init__(
        self,
        hosts: Iterable[str],
        *,
        needs_pass: bool = False,
        new_pass: Callable[[str], None] = lambda text: None,
        clock: Callable[[], float] = time.monotonic,
        scheme: str = "http",
    ) -> None:
        self._clock = clock
        self.scheme = scheme
        self.hosts = {host.lower() for host in hosts}
        self.port = 0
        self.token = secrets.token_urlsafe(24)
        self.needs_pass = needs_pass
        self._show_pass = new_pass
        self._lock = threading.Lock()
        self._devices: list[str] = []
        self._wrong: dict[str, _Wrong] = {}
        self._pass = ""
        if needs_pass:
            self._renew()

    @property
    def cookie(self) -> str:
        """Name of the cookie of a device that was let in; ports share their cookies."""
        return f"fringe_bench_{self.port}"

    def check_origin(self, method: str, headers: Mapping[str, str]) -> None:
        """Refuse what another site sends, or what was sent to another name.

        Raises
        ------
        NotAllowedError
        """
        host = headers.get("Host", "")
        usual = {"http": 80, "https": 443}[self.scheme]  # browsers leave it away
        tail = "" if self.port == usual else f":{self.port}"
        if host.lower() not in {f"{name}{tail}" for name in self.hosts}:
            raise NotAllowedError(f"this page is not {host or 'without a name'}", 421)
        if headers.get("Sec-Fetch-Site", "none") not in ("none", "same-origin"):
            raise NotAllowedError("another site may not ask this page for anything")
        origin = headers.get("Origin")
        changes = method not in ("GET", "HEAD")
        if (origin is not None or changes) and origin != f"{self.scheme}://{host}":
            raise NotAllowedError("another site may not change anything here")

    def check_token(self, headers: Mapping[str, str]) -> None:
        """Refuse a change that does not come from the page itself.

        Raises
        ------
        NotAllowedError
        """
        if not secrets.compare_digest(
            headers.get("X-Fringe-Token", "").encode(), self.token.encode()
        ):
            raise NotAllowedError("this page is out of date; load it again")

    def admitted(self, cookie: str | None) -> bool:
        """Whether a device needs no pass, or has been let in by one."""
        if not self.needs_pass:
            return True
        with self._lock:
            given = (cookie or "").encode()
            return any(secrets.compare_digest(given, device.encode()) for device in self._devices)

    def enter(self, text: str, address: str = "") -> str:
        """Let a device in by the pass on the screen, which is used up by that.

        Parameters
        ----------
        text : str
            As it was typed; capitals, spaces and hyphens do not matter.
        address : str
            Where it comes from: who guesses has to wait, nobody else.

        Returns
        -------
        str
            The device's cookie.

        Raises
        ------
        NotAllowedError
            If the pass is wrong, or this address has to wait first.
        """
        given = "".join(letter for letter in text.lower() if letter.isalnum())
        with self._lock:
            now = self._clock()
            wrong = self._wrong.get(address, _Wrong())
            if now < wrong.until_s:
                seconds = math.ceil(wrong.until_s - now)
                raise NotAllowedError(f"too many wrong passes; try again in {seconds} s", 429)
            if not secrets.compare_digest(given.encode(), self._pass.encode()):
                self._note(address, wrong.count + 1, now)
                raise NotAllowedError("that is not the pass on the screen")
            self._wrong.pop(address, None)
            device = secrets.token_urlsafe(24)
            self._devices = [*self._devices, device][-MOST_DEVICES:]
            self._renew()
            return device

    def _note(self, address: str, count: int, now: float) -> None:
        """Remember a wrong pass; of very many addresses the oldest is forgotten."""
        more = count - FREE_TRIES
        wait = min(LONGEST_WAIT_S, 2.0 ** min(more, 10)) if more > 0 else 0.0
        self._wrong.pop(address, None)
        self._wrong[address] = _Wrong(count, now + wait)
        if len(self._wrong) > MOST_ADDRESSES:
            del self._wrong[next(iter(self._wrong))]

    def _renew(self) -> None:
        self._pass = "".join(secrets.choice(_LETTERS) for _ in range(_PASS_LENGTH))
        self._show_pass(self._pass)
