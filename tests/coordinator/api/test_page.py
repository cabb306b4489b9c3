"""The page's files and the policy under which a browser runs them."""

import base64
import hashlib

import httpx2
from fastapi import FastAPI

from coordinator.api.page import add_page, content_security_policy
from coordinator.web import WEB


def test_the_policy_names_the_import_map_by_its_hash_and_allows_no_text_to_be_run() -> None:
    page = (WEB / "index.html").read_text(encoding="utf-8")
    text = page.split('<script type="importmap">')[1].split("</script>")[0]
    digest = base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
    policy = content_security_policy(page)
    assert f"script-src 'self' 'sha256-{digest}'" in policy
    assert "unsafe" not in policy
    assert "default-src 'none'" in policy


async def test_the_page_is_served_under_its_policy() -> None:
    app = FastAPI(openapi_url=None)
    add_page(app)
    async with httpx2.AsyncClient(
        transport=httpx2.ASGITransport(app=app), base_url="http://127.0.0.1"
    ) as client:
        served = await client.get("/")
    policy = served.headers["content-security-policy"]
    assert policy == content_security_policy((WEB / "index.html").read_text(encoding="utf-8"))
    directives = dict(part.strip().split(" ", 1) for part in policy.split(";") if part.strip())
    # What is not named falls back to default-src (Content Security Policy Level 3, 6.1).
    assert directives["default-src"] == "'none'"
    assert "'unsafe-eval'" not in policy
    assert directives["frame-ancestors"] == "'none'"
