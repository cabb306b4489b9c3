"""The page's files and the policy under which a browser runs them."""

import base64
import hashlib

from coordinator.api.page import content_security_policy
from coordinator.web import WEB


def test_the_policy_names_the_import_map_by_its_hash_and_allows_no_text_to_be_run() -> None:
    page = (WEB / "index.html").read_text(encoding="utf-8")
    text = page.split('<script type="importmap">')[1].split("</script>")[0]
    digest = base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
    policy = content_security_policy(page)
    assert f"script-src 'self' 'sha256-{digest}'" in policy
    assert "unsafe" not in policy
    assert "default-src 'none'" in policy
