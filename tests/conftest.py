import gc
import os

from hypothesis import HealthCheck, settings

from tests.nightly import USUAL, nightly

# Solvers and searches make many objects that stay: looking through them seldom saves a tenth.
gc.set_threshold(50_000, 20, 50)

# CI must give the same answer every time; a developer's runs go on finding new examples.
settings.register_profile("ci", derandomize=True, deadline=None, print_blob=True)
settings.register_profile("dev", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.register_profile(
    "nightly",
    max_examples=nightly() or USUAL,
    deadline=None,
    print_blob=True,
    suppress_health_check=[HealthCheck.too_slow],
)
by_day = "ci" if os.environ.get("CI") else "dev"
settings.load_profile("nightly" if nightly() else by_day)
