"""Who may ask the bench page, and who may not."""

from __future__ import annotations

import pytest

from fringe.bench.guard import FREE_TRIES, LONGEST_WAIT_S, Guard, NotAllowedError

OWN = {"Host": "127.0.0.1:8740", "Origin": "http://127.0.0.1:8740"}


@pytest.fixture
def guard():
    guard = Guard(["127.0.0.1", "localhost"])
    guard.port = 8740
    return guard


@pytest.fixture
def passes():
    return []


@pytest.fixture
def locked(passes):
    return Guard(["192.0.2.7"], needs_pass=True, new_pass=passes.append)


@pytest.mark.parametrize("host", ["127.0.0.1:8740", "localhost:8740", "LOCALHOST:8740"])
def test_own_names_may_ask(guard, host):
    """A request to one of the page's own names, with its port, is let through."""
    guard.check_origin("GET", {"Host": host})
    guard.check_origin("PUT", {"Host": host, "Origin": f"http://{host}"})


@pytest.mark.parametrize(
    "host", ["evil.example:8740", "127.0.0.1", "127.0.0.1:80", "127.0.0.1.evil.example:8740", ""]
)
def test_another_name_is_refused(guard, host):
    """A name of another site that was pointed to this machine gets nothing (DNS rebinding)."""
    with pytest.raises(NotAllowedError) as refusal:
        guard.check_origin("GET", {"Host": host})
    assert refusal.value.status == 421


@pytest.mark.parametrize(
    ("method", "headers"),
    [
        ("POST", {"Host": OWN["Host"]}),
        ("PUT", OWN | {"Origin": "http://evil.example"}),
        ("DELETE", OWN | {"Origin": "null"}),
        ("POST", OWN | {"Origin": "http://127.0.0.1:9999"}),
        ("POST", OWN | {"Origin": "https://127.0.0.1:8740"}),
        ("GET", OWN | {"Origin": "http://evil.example"}),
        ("GET", {"Host": OWN["Host"], "Sec-Fetch-Site": "cross-site"}),
        ("GET", {"Host": OWN["Host"], "Sec-Fetch-Site": "same-site"}),
    ],
)
def test_another_site_is_refused(guard, method, headers):
    """What another site makes a browser send is refused, whichever way the browser tells."""
    with pytest.raises(NotAllowedError):
        guard.check_origin(method, headers)


def test_the_token_is_needed(guard):
    """A change must carry the token of this run, which no other page and run has."""
    guard.check_token({"X-Fringe-Token": guard.token})
    for wrong in ({}, {"X-Fringe-Token": ""}, {"X-Fringe-Token": Guard(["localhost"]).token}):
        with pytest.raises(NotAllowedError):
            guard.check_token(wrong)


def test_without_the_network_no_pass_is_needed(guard):
    """On the machine itself every request is admitted."""
    assert guard.admitted(None)


def test_a_pass_lets_one_device_in(locked, passes):
    """A pass is used up by the device that it lets in; a new one is shown at once."""
    assert not locked.admitted(None)
    device = locked.enter(passes[0])
    assert locked.admitted(device)
    assert len(passes) == 2
    assert passes[1] != passes[0]
    with pytest.raises(NotAllowedError):
        locked.enter(passes[0])
    assert locked.admitted(locked.enter(passes[1]))
    assert locked.admitted(device)


def test_a_pass_may_be_typed_as_it_comes(locked, passes):
    """Capitals, spaces and hyphens in a pass do not matter."""
    typed = f" {passes[0][:4].upper()}-{passes[0][4:]} "
    assert locked.admitted(locked.enter(typed))


@pytest.mark.parametrize("cookie", [None, "", "x", "ü"])
def test_other_cookies_do_not_let_in(locked, passes, cookie):
    """A cookie that no pass gave opens nothing."""
    locked.enter(passes[0])
    assert not locked.admitted(cookie)


def test_who_guesses_has_to_wait_and_nobody_else():
    """Wrong passes from one address are answered ever later; others get in by the same pass."""
    now, passes = [0.0], []
    guard = Guard(["localhost"], needs_pass=True, new_pass=passes.append, clock=lambda: now[0])

    def answer():
        with pytest.raises(NotAllowedError) as caught:
            guard.enter("abcdefgh", "192.0.2.7")
        return caught.value.status

    waits = []
    for _ in range(FREE_TRIES + 14):
        begun = now[0]
        while answer() == 429:
            now[0] += 1.0
        waits.append(now[0] - begun)
    assert passes == passes[:1]  # no new one is shown for that
    assert waits[0] == 0.0
    assert sorted(waits) == waits
    assert waits[-1] == LONGEST_WAIT_S
    now[0] += 0.5
    with pytest.raises(NotAllowedError, match="try again in"):
        guard.enter(passes[0], "192.0.2.7")
    assert guard.admitted(guard.enter(passes[0], "192.0.2.8"))


def test_passes_are_long_and_differ(rng):
    """A hundred passes are a hundred different ones, of eight letters that are told apart."""
    shown = []
    for _ in range(100):
        Guard(["localhost"], needs_pass=True, new_pass=shown.append)
    assert len(set(shown)) == 100
    assert {len(one) for one in shown} == {8}
    assert not set("".join(shown)) & set("0O1lIi")
