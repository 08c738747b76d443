"""The faults that are planted to try the tests are faults of today's code."""

from pathlib import Path

import pytest

from tests.mutation.planting import ROOT, Fault, faults


@pytest.mark.parametrize("fault", faults(), ids=lambda fault: fault.what)
def test_a_planted_fault_changes_text_that_stands_once_in_its_file(fault: Fault):
    text = (ROOT / fault.file).read_text()
    assert text.count(fault.old) == 1
    compile(text.replace(fault.old, fault.new), fault.file, "exec")


def test_there_are_enough_of_them_and_each_names_tests_that_exist():
    assert len(faults()) >= 40
    for fault in faults():
        for name in fault.tests:
            assert (Path(__file__).parent / f"{name}.py").exists()
