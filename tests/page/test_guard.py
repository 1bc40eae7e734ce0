"""Who may see the page."""

from __future__ import annotations

import pytest

from snapsim.page.guard import allowed, new_token

TOKEN = "0123456789abcdef0123456789abcdef"


@pytest.mark.parametrize(
    ("path", "host", "origin", "answer"),
    [
        (f"/{TOKEN}/", "127.0.0.1:8000", None, True),
        (f"/{TOKEN}/ws", "localhost:8000", "http://localhost:8000", True),
        (f"/{TOKEN[:-1]}/", "127.0.0.1:8000", None, False),
        ("/", "127.0.0.1:8000", None, False),
        ("", "127.0.0.1:8000", None, False),
        (f"/é{TOKEN[1:]}/", "127.0.0.1:8000", None, False),
        # a foreign name made to point at this machine
        (f"/{TOKEN}/", "stage.example:8000", None, False),
        # another site's page that calls this one
        (f"/{TOKEN}/ws", "127.0.0.1:8000", "http://stage.example", False),
        (f"/{TOKEN}/ws", "127.0.0.1:8000", "http://127.0.0.1:9000", False),
        # headers that are no addresses
        (f"/{TOKEN}/", "[::1", None, False),
        (f"/{TOKEN}/", "[", None, False),
        (f"/{TOKEN}/", "", None, False),
        (f"/{TOKEN}/ws", "127.0.0.1:8000", "http://[", False),
        (f"/{TOKEN}/ws", "127.0.0.1:8000", "http://[::1]x]", False),
        (f"/{TOKEN}/ws", "127.0.0.1:8000", "null", False),
        (f"/{TOKEN}/ws", "127.0.0.1:8000", "\udcff\x00", False),
        (f"/{TOKEN}/", "127.0.0.1:99999999", None, False),
        (f"/{TOKEN}/", "127.0.0.1:65536", None, False),
        (f"/{TOKEN}/", "[::1]:8000", None, True),
        (f"/{TOKEN}/", "localhost", None, True),
        # what only a lenient reader takes for this machine
        (f"/{TOKEN}/", "someone@127.0.0.1:8000", None, False),
        (f"/{TOKEN}/", "127.0.0.1:8000/x", None, False),
        (f"/{TOKEN}/", "127.0.0.1:8000, stage.example", None, False),
        (f"/{TOKEN}/", "LOCALHOST:8000", None, False),
        (f"/{TOKEN}/", "127.0.0.1:", None, False),
        (f"/{TOKEN}/", " 127.0.0.1:8000", None, False),
        (f"/{TOKEN}/", "127.0.0.1:8000\n", None, False),
        (f"/{TOKEN}/ws", "127.0.0.1:8000", "ws://127.0.0.1:8000", False),
        (f"/{TOKEN}/ws", "127.0.0.1:8000", "http://127.0.0.1:8000/x", False),
    ],
)
def test_only_the_whole_address_on_this_machine_is_answered(
    path: str, host: str, origin: str | None, answer: bool
) -> None:
    assert allowed(path, host, origin, TOKEN) is answer


def test_tokens_are_long_and_new_each_time() -> None:
    found = {new_token() for _ in range(100)}
    assert len(found) == 100
    assert all(len(t) == 32 for t in found)
