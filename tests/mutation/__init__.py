"""Faults planted one at a time, to see whether the tests notice.

``python -m tests.mutation`` plants each fault of ``faults.toml`` in a copy of the repository
and runs the tests that ought to notice, then, if they do not, all fast ones.
"""
