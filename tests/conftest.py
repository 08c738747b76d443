import gc
import os

import pytest
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

# Of 8 seconds and more. They come first: what is left in the end is short, and all workers end
# together.
LONGEST = frozenset(
    (
        "test_a_command_that_is_killed_goes_on_where_it_was_saved",
        "test_a_comparison_with_curves",
        "test_a_design_that_is_killed_goes_on_from_some_seconds_before",
        "test_a_tag_is_the_version_of_wheel_and_source",
        "test_certificates_of_demo_links_are_confirmed_by_both_solvers",
        "test_explorer_and_solver_agree_on_latencies",
        "test_explorer_and_solver_agree_on_levers",
        "test_four_levers_are_right_again_within_two_frames",
        "test_largest_exactly_2_separable_codes",
        "test_solver_and_explorer_find_the_same_least_disturbance",
        "test_zones_and_explorer_agree_on_synced_scans",
    )
)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Longest first, else as ever."""
    items.sort(key=lambda item: getattr(item, "originalname", item.name) not in LONGEST)
