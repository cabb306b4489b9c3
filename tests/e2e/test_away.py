"""A coordinator on another address than loopback's usual one: HTTPS and tokens, on real sockets.

127.0.0.2 is as foreign to it as any address of a network.
"""

import hashlib
import socket
import ssl
import subprocess
import sys
from pathlib import Path
from typing import Any

import httpx2
import pytest
from websockets.exceptions import InvalidStatus
from websockets.sync.client import connect

from tests.e2e.harness import Bench

ADDRESS = "127.0.0.2"


def serve_away(bench: Bench) -> dict[str, Any]:
    """Serve there, for this address and the name `bench.local`; what it said of itself."""
    process = bench.start(
        "serve", "--json", "--arm", str(bench.arm), "--data", str(bench.data), "--port", "0",
        "--listen", ADDRESS, "--name", "bench.local",
    )  # fmt: skip
    bench.url = process.ready["url"]
    return process.ready


def unisono(bench: Bench, *arguments: str, **environment: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "coordinator.cli", *arguments],
        capture_output=True, text=True, timeout=60, check=False,
        env={"PATH": "/usr/bin:/bin", "HOME": str(bench.folder), "UNISONO_URL": bench.url}
        | environment,
    )  # fmt: skip


def trusting(certificate: Path) -> ssl.SSLContext:
    return ssl.create_default_context(cafile=certificate)


def test_the_command_line_works_with_a_token_and_the_certificate_and_not_without(
    bench: Bench,
) -> None:
    ready = serve_away(bench)
    certificate = str(bench.data / "cert.pem")
    tokens = ready["tokens"]
    given = {"UNISONO_CERTIFICATE": certificate, "UNISONO_TOKEN": tokens["operate"]}
    done = unisono(bench, "joints", "--json", **given)
    assert (done.returncode, done.stderr) == (0, "")

    for environment, code, sentence in (
        ({"UNISONO_TOKEN": tokens["operate"]}, 4, "a certificate that is not trusted"),
        ({"UNISONO_CERTIFICATE": certificate}, 3, "this needs a token"),
        (given | {"UNISONO_TOKEN": "guess"}, 3, "the token is wrong"),
        (given | {"UNISONO_CERTIFICATE": str(bench.arm)}, 2, "holds no certificate"),
    ):
        done = unisono(bench, "joints", **environment)
        assert (done.returncode, sentence in done.stderr) == (code, True), done.stderr

    watching = given | {"UNISONO_TOKEN": tokens["watch"]}
    assert unisono(bench, "joints", **watching).returncode == 0
    done = unisono(bench, "control", "take", **watching)
    assert (done.returncode, "may watch" in done.stderr) == (3, True), done.stderr

    made = unisono(bench, "token", "new", "--data", str(bench.data), "--role", "watch", "--json")
    assert made.returncode == 0, made.stderr
    done = unisono(bench, "joints", **watching)
    assert (done.returncode, "void" in done.stderr) == (3, True), done.stderr


def test_the_certificate_and_the_tokens_are_the_same_after_a_restart_and_shown_once(
    bench: Bench,
) -> None:
    first = serve_away(bench)
    host, port = first["url"].removeprefix("https://").split(":")
    der = ssl.PEM_cert_to_DER_cert(ssl.get_server_certificate((host, int(port))))
    assert first["fingerprint"].replace(":", "").lower() == hashlib.sha256(der).hexdigest()
    assert set(first["tokens"]) == {"watch", "operate"}
    assert bench.processes[-1].end() == 0
    second = serve_away(bench)
    assert second["fingerprint"] == first["fingerprint"]
    assert second["tokens"] == {}
    headers = {"Authorization": f"Bearer {first['tokens']['watch']}"}
    with httpx2.Client(verify=trusting(bench.data / "cert.pem"), trust_env=False) as http:
        assert http.get(second["url"] + "/api/v1/arm", headers=headers).status_code == 200


def test_plain_text_and_a_foreign_name_get_nothing(bench: Bench) -> None:
    ready = serve_away(bench)
    port = int(ready["url"].rpartition(":")[2])
    with socket.create_connection((ADDRESS, port), timeout=60) as plain:
        plain.sendall(b"GET /api/v1/arm HTTP/1.1\r\nHost: 127.0.0.2\r\n\r\n")
        assert not plain.recv(1)
    headers = {
        "Authorization": f"Bearer {ready['tokens']['operate']}",
        "Host": "rebound.example",
    }
    with httpx2.Client(verify=trusting(bench.data / "cert.pem"), trust_env=False) as http:
        answer = http.post(ready["url"] + "/api/v1/stop", json={}, headers=headers)
    assert (answer.status_code, answer.json()["type"]) == (403, "urn:unisono:problem:host")


@pytest.mark.parametrize("token", ["", "guess"])
def test_a_web_socket_without_a_right_token_is_refused(bench: Bench, token: str) -> None:
    ready = serve_away(bench)
    url = ready["url"].replace("https:", "wss:") + "/api/v1/feed"
    headers = {"Authorization": f"Bearer {token}"} if token else {}
    with (
        pytest.raises(InvalidStatus) as error,
        connect(
            url,
            ssl=trusting(bench.data / "cert.pem"),
            additional_headers=headers,
            proxy=None,
            open_timeout=60,
        ),
    ):
        pass
    assert error.value.response.status_code == 401


@pytest.mark.parametrize(
    ("name", "headers"),
    [
        ("origin", {"Origin": "http://evil.example"}),
        ("host", {"Host": "rebound.example"}),
    ],
)
def test_a_foreign_page_gets_no_answer_on_loopback_by_fetch_form_or_web_socket(
    bench: Bench, name: str, headers: dict[str, str]
) -> None:
    bench.serve()
    kinds = {
        "fetch": {"content-type": "application/json"},
        "form": {"content-type": "application/x-www-form-urlencoded"},
        "text": {"content-type": "text/plain"},
    }
    with httpx2.Client(trust_env=False) as http:
        for kind in kinds.values():
            answer = http.post(bench.url + "/api/v1/stop", content=b"{}", headers=headers | kind)
            assert answer.status_code == 403
            assert answer.json()["type"] == f"urn:unisono:problem:{name}"
            assert "access-control-allow-origin" not in answer.headers
        asked = {"access-control-request-method": "POST"}
        answer = http.options(bench.url + "/api/v1/stop", headers=headers | asked)
        assert answer.status_code == 403  # what a browser asks before a page may send JSON
    given = {key: value for key, value in headers.items() if key != "Host"}
    url = bench.url.replace("http:", "ws:") + "/api/v1/feed"
    if name == "host":  # the client writes its own: come by a name that is not served
        port = int(bench.url.rpartition(":")[2])
        url = f"ws://rebound.example:{port}/api/v1/feed"
        sock = socket.create_connection(("127.0.0.1", port))
    else:
        sock = None
    with (
        pytest.raises(InvalidStatus) as error,
        connect(url, sock=sock, additional_headers=given, proxy=None, open_timeout=60),
    ):
        pass
    assert error.value.response.status_code == 403


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        (("--listen", "0.0.0.0"), "--listen is 0.0.0.0, but must be one address"),
        (("--listen", "192.0.2.7"), "no interface of this host has the address 192.0.2.7"),
        (("--listen", "bench"), "'bench' is no IPv4 address"),
        (("--name", "bench.local"), "--name is for another address than loopback"),
        (("--listen", ADDRESS, "--name", "a b"), "--name is 'a b', but must be"),
    ],
)
def test_an_address_or_name_that_cannot_be_served_is_told(
    bench: Bench, arguments: tuple[str, ...], sentence: str
) -> None:
    done = bench.unisono("serve", "--arm", str(bench.arm), "--data", str(bench.data), *arguments)
    assert (done.returncode, sentence in done.stderr) == (2, True), done.stderr
