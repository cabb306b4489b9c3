"""Joints that are there are found by who begins an arm, all of them and no others."""

import secrets

from coordinator.links.looking import joints_there
from tests.coordinator.links.test_discovery import HOST, announcer, service
from tests.own import SERVICE_TYPE


async def test_all_that_announce_themselves_are_found_once_by_id() -> None:
    ids = sorted(secrets.token_hex(6) for _ in range(3))
    async with announcer() as zeroconf:
        for port, one in enumerate(reversed(ids), 4000):
            await (await zeroconf.async_register_service(service(one, port)))
        found = await joints_there(HOST, SERVICE_TYPE, 5.0)
        await zeroconf.async_unregister_all_services()
    told = [one.announcement.id for one in found if one.announcement.id in ids]
    assert told == ids
    assert {one.host for one in found} == {HOST}
