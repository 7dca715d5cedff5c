"""The product's settings, with a home that goes when the tests have ended."""

import atexit
import os
import tempfile

_home = tempfile.TemporaryDirectory(prefix="fayline-tests-")
atexit.register(_home.cleanup)
os.environ["FAYLINE_HOME"] = _home.name

from shop.settings import *  # noqa: E402, F403 -- only once the home is set

# Tests make many people; the product's hasher is slow on purpose. The server that the
# journeys talk to runs with the product's own settings.
PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
