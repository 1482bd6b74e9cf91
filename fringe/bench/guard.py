"""Which requests the bench page accepts.

The page is served on the machine itself alone, or to the local network for devices that were
let in by a pass from the screen. Whichever it is, a request is refused

- if it names a host that is not this page's own (another site's name that was pointed here),
- if a browser says that another site made it, by `Sec-Fetch-Site` or `Origin`,
- if it changes anything and does not carry the token that only the page itself knows.
"""

from __future__ import annotations

import secrets
import threading
from collections.abc import Callable, Iterable, Mapping

# without letters and digits that are taken for one another
_LETTERS = "abcdefghjkmnpqrstuvwxyz23456789"
_PASS_LENGTH = 8
MOST_WRONG = 10
MOST_DEVICES = 32


class NotAllowedError(Exception):
    """A refused request; the text gives the reason, `status` is the HTTP status."""

    def __init__(self, why: str, status: int = 403) -> None:
        super().__init__(why)
        self.status = status


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
    """

    def __init__(
        self,
        hosts: Iterable[str],
        *,
        needs_pass: bool = False,
        new_pass: Callable[[str], None] = lambda text: None,
    ) -> None:
        self.hosts = {host.lower() for host in hosts}
        self.port = 0
        self.token = secrets.token_urlsafe(24)
        self.needs_pass = needs_pass
        self._show_pass = new_pass
        self._lock = threading.Lock()
        self._devices: list[str] = []
        self._wrong = 0
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
        tail = "" if self.port == 80 else f":{self.port}"  # browsers leave 80 away
        if host.lower() not in {f"{name}{tail}" for name in self.hosts}:
            raise NotAllowedError(f"this page is not {host or 'without a name'}", 421)
        if headers.get("Sec-Fetch-Site", "none") not in ("none", "same-origin"):
            raise NotAllowedError("another site may not ask this page for anything")
        origin = headers.get("Origin")
        changes = method not in ("GET", "HEAD")
        if (origin is not None or changes) and origin != f"http://{host}":
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

    def enter(self, text: str) -> str:
        """Let a device in by the pass on the screen, which is used up by that.

        Parameters
        ----------
        text : str
            As it was typed; capitals, spaces and hyphens do not matter.

        Returns
        -------
        str
            The device's cookie.

        Raises
        ------
        NotAllowedError
            If the pass is wrong. After some wrong ones it is changed.
        """
        given = "".join(letter for letter in text.lower() if letter.isalnum())
        with self._lock:
            if not secrets.compare_digest(given.encode(), self._pass.encode()):
                self._wrong += 1
                if self._wrong >= MOST_WRONG:
                    self._renew()
                raise NotAllowedError("that is not the pass on the screen")
            device = secrets.token_urlsafe(24)
            self._devices = [*self._devices, device][-MOST_DEVICES:]
            self._renew()
            return device

    def _renew(self) -> None:
        self._wrong = 0
        self._pass = "".join(secrets.choice(_LETTERS) for _ in range(_PASS_LENGTH))
        self._show_pass(self._pass)
