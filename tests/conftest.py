import os

from hypothesis import HealthCheck, settings

# CI must give the same answer every time; a developer's runs go on finding new examples.
settings.register_profile("ci", derandomize=True, deadline=None, print_blob=True)
settings.register_profile("dev", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("ci" if os.environ.get("CI") else "dev")
