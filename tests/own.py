"""What keeps this run of the tests apart from whatever else the machine runs."""

import os
import secrets

from coordinator.config.settings import DATABASE_VARIABLE, SERVICE_VARIABLE, service_type

# Every process of tests has a service of its own, which the processes that it starts take on.
os.environ[SERVICE_VARIABLE] = f"test-{secrets.token_hex(4)}"
SERVICE_TYPE = service_type()
# The discard port (RFC 863), where nobody answers: no test asks a coordinator of somebody else.
os.environ["UNISONO_URL"] = "http://127.0.0.1:9"
# Nor does any write to a database that somebody has.
os.environ.pop(DATABASE_VARIABLE, None)
