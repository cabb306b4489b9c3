"""What the page and its tests use from elsewhere is what the manifests say."""

import hashlib
import json
from pathlib import Path

import pytest

from coordinator.web import WEB

FOLDERS = (WEB / "vendor", Path(__file__).parents[2] / "browser" / "vendor")


@pytest.mark.parametrize("folder", FOLDERS, ids=["page", "tests"])
def test_every_vendored_file_has_the_hash_and_the_licence_of_the_manifest(folder: Path) -> None:
    manifest = json.loads((folder / "manifest.json").read_text())
    files = {path.name for path in folder.iterdir()}
    licences = {f"LICENSE-{entry['package']}" for entry in manifest.values()}
    assert files == manifest.keys() | licences | {"manifest.json"}
    for name, entry in manifest.items():
        assert hashlib.sha256((folder / name).read_bytes()).hexdigest() == entry["sha256"], name


def test_nothing_in_the_page_is_loaded_from_elsewhere_or_evaluates_text() -> None:
    for path in WEB.rglob("*"):
        if path.suffix in {".js", ".mjs", ".css", ".html"}:
            text = path.read_text(encoding="utf-8")
            assert "eval(" not in text, path
            assert "new Function" not in text, path
            assert "sourceMappingURL" not in text, path
            if "vendor" not in path.parts:
                assert "https://" not in text, path
