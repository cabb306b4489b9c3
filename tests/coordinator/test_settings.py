"""What the environment may ask for."""

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from coordinator.config.settings import SERVICE_VARIABLE, SettingsError, service_type
from protocol.constants import SERVICE_TYPE
from tests import own


def test_joints_are_found_by_the_service_of_the_wire_document_unless_another_is_named(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.delenv(SERVICE_VARIABLE)
    assert service_type() == SERVICE_TYPE
    monkeypatch.setenv(SERVICE_VARIABLE, "bench-7")
    assert service_type() == "_bench-7._tcp.local."


def test_these_tests_have_a_service_of_their_own() -> None:
    assert own.SERVICE_TYPE == service_type() != SERVICE_TYPE


# RFC 6335 §5.1: 1 to 15 letters, digits and hyphens, at least one letter, no hyphen at either end
# nor beside another.
@pytest.mark.parametrize("name", ["-a", "a-", "a--b", "123", "a" * 16, "a.b", "a b", "é"])
def test_name_that_no_service_can_have_is_refused_by_name_and_value(
    name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(SERVICE_VARIABLE, name)
    with pytest.raises(SettingsError, match=re.escape(f"{SERVICE_VARIABLE} is {name!r}")):
        service_type()


@given(name=st.from_regex("[a-z0-9-]{1,20}", fullmatch=True))
def test_every_name_is_taken_as_it_is_or_refused(name: str) -> None:
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv(SERVICE_VARIABLE, name)
        try:
            found = service_type()
        except SettingsError:
            assert (
                len(name) > 15 or name.isdigit() or name.replace("-", "").isdigit()
                or name.startswith("-") or name.endswith("-") or "--" in name
            )  # fmt: skip
        else:
            assert found == f"_{name}._tcp.local."
